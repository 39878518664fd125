// Whether the upper limb stands before the flight, and where the phone would see past it. Private
// to the pipeline.
#pragma once

#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

struct LimbInTheWay {
  double share = 0.0;         // of the flight's first metres behind the limb; 0: none, or not seen
  double move_right_m = 0.0;  // the phone, to see past it on the side on which the arrow shows more
};

LimbInTheWay limb_in_the_way(const ShotAnalysis& analysis);

}  // namespace nocktrail::pipeline
