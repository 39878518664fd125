// Turns an analysed loose into the plain data of a reading, refusing what is of no use. Private to
// the pipeline.
#pragma once

#include <optional>

#include "nocktrail/media/clip.hpp"
#include "nocktrail/reading.hpp"
#include "shot_analysis.hpp"
#include "why_refused.hpp"

namespace nocktrail::pipeline {

inline constexpr double kTwoSided95 = 1.96;  // of a normal distribution

Measured in_deg(const Measured& rad);

// Bending that stands clear of noise, at a frequency the frames can tell; else empty.
std::optional<Flex> clear_flex(const Measured& hz, const Measured& amplitude_m, double sigmas);

Shot shot_from(const ShotAnalysis& analysis, const media::ClipInfo& info,
               const RefusalOptions& options = {});

}  // namespace nocktrail::pipeline
