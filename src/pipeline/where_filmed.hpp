// From where a shot was filmed. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/reading.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// The camera's place by the fitted flight, and what the picture was before the loose. `luma` are
// the steadied frames of the shot, whose flight and stroke are known; nothing without a frame of
// that time.
std::optional<FilmedFrom> where_filmed(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot);

}  // namespace nocktrail::pipeline
