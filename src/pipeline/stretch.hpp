// The frames around one candidate loose. Private to the pipeline.
#pragma once

#include <vector>

#include "effort.hpp"
#include "frames.hpp"
#include "nocktrail/media/clip.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// Index of the first frame that load_stretch takes.
long first_frame_of(const media::Clip& clip, double surge_s, const AnalysisOptions& options);

// Around a surge of motion at capture time surge_s.
Stretch load_stretch(media::Clip& clip, double surge_s, const AnalysisOptions& options,
                     Effort& effort);

// The stretch around the surge of motion that goes with a knock, in one pass over the frames;
// empty when nothing moves there. `surge_s` is set.
Stretch load_heard(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                   double& surge_s, Effort& effort);

// From capture time from_s to to_s, the frames `wanted` (ascending) among them however many there
// are.
Stretch load_with(media::Clip& clip, double from_s, double to_s, const std::vector<long>& wanted,
                  const AnalysisOptions& options);

}  // namespace nocktrail::pipeline
