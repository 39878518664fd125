#include "clip_setup.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/error.hpp"
#include "nocktrail/optics/camera.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr double kAssumedFocal35mm = 27.0;   // contract: assumed when unknown,
constexpr double kAssumedFocalSigma = 0.10;  // with a standard deviation of 10 %
constexpr double kUserFocalSigma = 0.015;    // rounding of a stated whole millimetre
constexpr double kTaggedFocalSigma = 0.05;   // crop and stabilisation: up to 9 % between readings
                                             // of the convention

}  // namespace

void check_options(const ReadClipOptions& options) {
  const auto in = [](double v, double low, double high) { return v >= low && v <= high; };
  if (options.cant_deg && !in(*options.cant_deg, -90, 90)) {
    throw BadInput(fmt::format("cant: {} deg is outside -90 to 90", *options.cant_deg));
  }
  if (options.arrow_length_m && !in(*options.arrow_length_m, 0.4, 1.1)) {
    throw BadInput(
        fmt::format("arrow length: {:.3f} m is outside 0.4 to 1.1 m", *options.arrow_length_m));
  }
  if (options.focal_35mm && !in(*options.focal_35mm, 10, 200)) {
    throw BadInput(fmt::format("focal length: {} mm is outside 10 to 200 mm", *options.focal_35mm));
  }
  if (options.target_distance_m && !in(*options.target_distance_m, 3.0, 100.0)) {
    throw BadInput(
        fmt::format("target distance: {} m is outside 3 to 100 m", *options.target_distance_m));
  }
  if (options.speed_mps && !in(*options.speed_mps, 20.0, 120.0)) {
    throw BadInput(fmt::format("speed: {} m/s is outside 20 to 120 m/s", *options.speed_mps));
  }
  if (!in(options.dead_band_deg, 0.0, 10.0)) {
    throw BadInput(fmt::format("dead band: {} deg is outside 0 to 10", options.dead_band_deg));
  }
}

Focal choose_focal(const media::ClipInfo& info, const ReadClipOptions& options) {
  const auto px = [&](double mm) {
    return optics::focal_px_from_35mm(mm, info.stored_width, info.stored_height);
  };
  if (options.focal_35mm) {
    // Of another shape it depends on which of the conventions was meant, and a width that was told
    // was turned into it by 16:9.
    const double longer = std::max(info.stored_width, info.stored_height);
    const double shorter = std::min(info.stored_width, info.stored_height);
    const bool usual = std::abs(longer / shorter - 16.0 / 9.0) < 0.03;
    return {px(*options.focal_35mm), usual ? kUserFocalSigma : kTaggedFocalSigma,
            FocalSource::user};
  }
  if (info.focal_35mm_tag && *info.focal_35mm_tag > 10.0 && *info.focal_35mm_tag < 200.0) {
    return {px(*info.focal_35mm_tag), kTaggedFocalSigma, FocalSource::calibration};
  }
  return {px(kAssumedFocal35mm), kAssumedFocalSigma, FocalSource::assumed};
}

ClipFacts facts_of(const media::Clip& clip) {
  const media::ClipInfo& info = clip.info();
  ClipFacts facts;
  facts.path = clip.path().string();
  facts.codec = info.codec;
  facts.width = info.width;
  facts.height = info.height;
  facts.rotation_deg = info.orientation.rotation_deg;
  facts.mirrored = info.orientation.mirrored;
  facts.frames = static_cast<long>(info.frame_t_s.size());
  facts.duration_s = info.duration_s;
  facts.capture_fps = info.capture_fps;
  facts.capture_fps_source = info.capture_fps_source;
  facts.cut_short = info.cut_short;
  return facts;
}

media::Clip open_at(const std::filesystem::path& path, std::optional<double> capture_fps) {
  media::OpenOptions open;
  open.capture_fps = capture_fps;
  return media::Clip::open(path, open);
}

AnalysisOptions analysis_options(const Focal& focal, const ReadClipOptions& options) {
  AnalysisOptions analysis;
  analysis.focal_px = focal.px;
  analysis.focal_relative_sigma = focal.relative_sigma;
  analysis.arrow_length_m = options.arrow_length_m;
  analysis.debug_dir = options.debug_dir;
  analysis.speed_mps = options.speed_mps;
  analysis.view = options.view;
  analysis.target_distance_m = options.target_distance_m;
  return analysis;
}

rules::JudgeOptions judge_options(const ReadClipOptions& options) {
  return {.hand = options.hand,
          .cant_deg = options.cant_deg,
          .fletched = options.fletched,
          .bare = options.bare,
          .dead_band_deg = options.dead_band_deg};
}

}  // namespace nocktrail::pipeline
