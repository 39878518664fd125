#pragma once

#include "nocktrail/pipeline/read_marked.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// The shot that was marked in `clip`, or why it cannot be read by these marks, which are of this
// clip (check_marks). Throws Interrupted where `progress` says to stop.
Shot shot_by_marks(media::Clip& clip, const Marks& marks, const AnalysisOptions& options,
                   const Progress& progress);

}  // namespace nocktrail::pipeline
