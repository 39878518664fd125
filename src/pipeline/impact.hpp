// The speed of an arrow from how long it was in the air over a distance that was told. Private to
// the pipeline.
#pragma once

#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/track/loose.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

struct ImpactOptions {
  double sound_mps = 343.0;      // dry air of 20 degrees C; 2 % from 8 to 32
  double slack_s = 0.08;         // how far sound and picture of a clip may disagree
  double distance_sigma = 0.01;  // as told by tape or by the range's marks
  double brace_sigma_m = 0.015;
  // The string slaps within some milliseconds of the nock's leaving it; a thud has a beginning.
  double timing_sigma_s = 0.004;
  double window_sigmas = 2.5;  // of the speed as the pictures have it
  double least_speed_sigma = 0.04;
  double most_speed_sigma = 0.12;
};

// More sounds, and fainter ones, than may be a loose: the butt is far from the phone. A thud in it
// is dull (common practice, no source), and a phone's own noise is bright.
ShotSounds sounds_of_a_shot(const media::Sound& sound);

// From the string's slap to the thud in the butt, the sound's way back taken off. Both are heard,
// so that it does not matter how far sound and picture of the clip are apart. Nothing where the
// slap or the thud is not heard, or more than one sound could be the thud, given the speed that the
// pictures show.
std::optional<double> heard_in_the_air_s(const flight::FlightFit& fit, const flight::Stroke& stroke,
                                         double target_distance_m, const ShotSounds& sounds,
                                         const ImpactOptions& options = {});

// The same as what the fit takes.
flight::Flown flown_to_butt(const flight::FlightFit& fit, const flight::Stroke& stroke,
                            double target_distance_m, double in_the_air_s,
                            const ImpactOptions& options = {});

}  // namespace nocktrail::pipeline
