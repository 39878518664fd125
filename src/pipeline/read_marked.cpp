#include "nocktrail/pipeline/read_marked.hpp"

#include <fmt/format.h>

#include "clip_setup.hpp"
#include "marked_clip.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/rules.hpp"
#include "shot_analysis.hpp"

namespace nocktrail {
namespace {

void check_frame(const std::optional<Eigen::Vector2d>& at_px, long index,
                 const media::ClipInfo& info) {
  if (!at_px) {
    return;
  }
  const bool inside = at_px->x() >= -0.5 && at_px->x() <= info.width - 0.5 && at_px->y() >= -0.5 &&
                      at_px->y() <= info.height - 0.5;
  if (!inside) {  // no number is not inside either
    throw BadInput(
        fmt::format("marks: a place in frame {} lies outside the picture of {} by {} px; mark it "
                    "in the frame as it is shown upright",
                    index, info.width, info.height));
  }
}

}  // namespace

void check_marks(const Marks& marks, const media::ClipInfo& info, const std::string& sha256) {
  if (!marks.clip_sha256.empty() && marks.clip_sha256 != sha256) {
    throw BadInput(
        "marks: made in another clip (its sha256 is not this one's); give the clip that was "
        "marked, or mark this one");
  }
  if (marks.frames.size() > kMostMarkedFrames) {
    throw BadInput(fmt::format("marks: {} frames are marked; keep the marks of at most {}",
                               marks.frames.size(), kMostMarkedFrames));
  }
  const auto frames = static_cast<long>(info.frame_t_s.size());
  const auto check_index = [&](long index) {
    if (index < 0 || index >= frames) {
      throw BadInput(
          fmt::format("marks: there is no frame {}, the clip's are 0 to {}; mark this clip's own "
                      "frames",
                      index, frames - 1));
    }
  };
  for (const FrameMark& mark : marks.frames) {
    check_index(mark.index);
    check_frame(mark.nock_px, mark.index, info);
    check_frame(mark.tip_px, mark.index, info);
  }
  if (marks.exit_index) {
    check_index(*marks.exit_index);
  }
  if (marks.limb) {
    check_index(marks.limb->index);
    for (const Eigen::Vector2d& at_px : marks.limb->points_px) {
      check_frame(at_px, marks.limb->index, info);
    }
  }
}

std::string missing_marks(const Marks& marks) {
  const std::size_t both = frames_with_both(marks);
  return both >= kFramesForReading
             ? std::string()
             : fmt::format(
                   "nock and point are both marked in {} frame{}: mark them in {} more, over all "
                   "of the flight",
                   both, both == 1 ? "" : "s", kFramesForReading - both);
}

Reading read_marked(const std::filesystem::path& path, const Marks& marks,
                    const ReadClipOptions& options, const Progress& progress) {
  pipeline::check_options(options);
  Reading reading;
  reading.clip.path = path.string();
  try {
    media::Clip clip = pipeline::open_at(path, options.capture_fps);
    reading.clip = pipeline::facts_of(clip);
    reading.clip.sha256 = media::sha256_of_file(path);
    check_marks(marks, clip.info(), reading.clip.sha256);
    const pipeline::Focal focal = pipeline::choose_focal(clip.info(), options);
    reading.camera = {focal.px, focal.source};
    const pipeline::AnalysisOptions analysis = pipeline::analysis_options(focal, options);
    Shot shot = pipeline::shot_by_marks(clip, marks, analysis, progress);
    rules::judge_shot(shot, pipeline::judge_options(options));
    reading.status =
        shot.status == ShotStatus::measured ? ClipStatus::measured : ClipStatus::refused;
    reading.reason = shot.reason;
    reading.shots.push_back(std::move(shot));
  } catch (const UnreadableClip& error) {
    reading.status = ClipStatus::error;
    reading.reason = error.what();
    reading.shots.clear();
  }
  return reading;
}

}  // namespace nocktrail
