// Turns an analysed loose into the plain data of a reading, refusing what is of no use. Private to
// the pipeline.
#pragma once

#include "nocktrail/media/clip.hpp"
#include "nocktrail/reading.hpp"
#include "shot_analysis.hpp"
#include "why_refused.hpp"

namespace nocktrail::pipeline {

Shot shot_from(const ShotAnalysis& analysis, const media::ClipInfo& info,
               const RefusalOptions& options = {});

}  // namespace nocktrail::pipeline
