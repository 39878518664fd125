// Why a fitted flight is of no use, with what to do. Private to the pipeline.
#pragma once

#include <string>

#include "nocktrail/flight/headline.hpp"
#include "nocktrail/reading.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

struct RefusalOptions {
  double most_lateral_u95_deg = 1.5;  // contract
  double most_offset_deg = 15.0;      // beyond, the small-angle flight model does not hold
  // Seen from behind, pitch, distance and speed go together: where the pitch is open by more, the
  // scale of the scene is not known, and with it nothing else.
  double most_vertical_u95_deg = 3.8;
  double most_wandering_deg = 0.3;  // 1 sigma sideways between rounds that do not settle
  int least_frames = 5;             // with both ends seen
  double least_share = 0.35;        // and of all frames in which a shaft was seen
  double least_shown = 0.5;         // of the shaft's length, against the ground behind it
  // Of its front half alone. Where only vanes showed it was 0.35 and the reading 3 deg off; of 60
  // good readings one had 0.33, all others 0.5 and more.
  double least_front_shown = 0.45;
  double latest_loose_s = kLatestLooseS;  // after the surge of motion, which it must go before
  double most_centre_scale = 3.0;  // scatter of the shaft's line about one flight, in its sigmas
  double most_end_scale = kMostEndScale;
  double most_mark_scale = 4.0;  // of marks, 6 px: some of them are of something else
  double most_behind_limb =
      0.3;                    // of the first metres; below, the arrow shows on either side of it
  double most_misfit = 0.95;  // cost of an observation, half its robust square
  double least_speed_mps = 24.0;  // of a 0.76 m arrow: slower is no arrow from a bow, or the
  double most_speed_mps = 85.0;   // capture rate is wrong; 70 is fast for a recurve
};

// Everything that speaks against the shot, in one sentence; empty when it is of use. What a flight
// says of itself (speed, size, intervals) is only asked once it is an arrow's flight: figures of
// anything else would mislead.
std::string why_refused(const ShotAnalysis& analysis, const flight::Headline& headline,
                        const RefusalOptions& options, RateSource rate_source);

}  // namespace nocktrail::pipeline
