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

// The mean of the steadied frames from one time to the other, of the first after it where there is
// none between; empty where none is known.
cv::Mat mean_between(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot, double from_s,
                     double to_s);

}  // namespace nocktrail::pipeline
