// What is settled of a clip before its frames are looked at, alike for whoever finds the arrow.
// Private to the pipeline.
#pragma once

#include <filesystem>
#include <optional>

#include "nocktrail/media/clip.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/rules/rules.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// Throws BadInput for what lies outside its range.
void check_options(const ReadClipOptions& options);

media::Clip open_at(const std::filesystem::path& path, std::optional<double> capture_fps);

struct Focal {
  double px = 0.0;
  double relative_sigma = 0.0;
  FocalSource source = FocalSource::assumed;
};

Focal choose_focal(const media::ClipInfo& info, const ReadClipOptions& options);

ClipFacts facts_of(const media::Clip& clip);

AnalysisOptions analysis_options(const Focal& focal, const ReadClipOptions& options);

rules::JudgeOptions judge_options(const ReadClipOptions& options);

}  // namespace nocktrail::pipeline
