// The upper limb in the frames of a shot. Private to the pipeline.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// The bow as the arrow leaves it: the string is straight, the limbs are where they belong. `luma`
// are the steadied frames of the shot, whose flight and stroke are known; empty ones are passed
// over. Where no limb stands out there, the bow at full draw.
std::optional<bow::SeenLimb> see_limb(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot,
                                      const std::filesystem::path& debug_dir);

}  // namespace nocktrail::pipeline
