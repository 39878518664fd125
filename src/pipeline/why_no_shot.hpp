// Why a clip holds no shot, as far as can be told, with what to do. Private to the pipeline.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

struct NoShotOptions {
  // Code value of the picture's bright parts: below, nothing has light (2 % of white's, by the
  // BT.709 curve).
  double least_bright = 45.0;
  // A phone lifts a dark picture, and its noise with it: of a 3x3 mean, code values. A change must
  // stand out by 4.5 times that, 20 code values, more than most shafts differ from their ground by.
  // Where bright parts are brighter than this, it is the scene that changes.
  double most_noise = 4.5;
  double most_bright_of_noise = 100.0;
  double least_motion = 0.01;  // in the frame with most of it, mean grey levels a pixel: still
                               // scenery stays below 0.005, an arm that moves is twenty times that
  double most_turning_deg_s = 15.0;  // the picture smears by 1.5 px in a 240th of a second then, as
                                     // much as a far shaft is wide
  double most_lost_share = 0.25;     // of the frames in which the camera's motion is not known
};

// What was found out about a clip without a shot.
struct WhatWasSeen {
  std::optional<std::size_t> knocks;  // sudden sounds; nothing without sound
  std::size_t surges = 0;             // of motion
  double bright = 0.0;                // see track::Scan
  double most_motion = 0.0;
  bool too_few_frames = false;  // around a candidate
  bool cut_short = false;       // not all of it was looked at, for want of effort
  Noticed noticed;
};

// Everything that speaks for there being no shot to see, in one sentence.
std::string why_no_shot(const WhatWasSeen& seen, const NoShotOptions& options = {});

}  // namespace nocktrail::pipeline
