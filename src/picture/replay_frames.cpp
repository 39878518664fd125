#include "replay_frames.hpp"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <opencv2/imgproc.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/steady/steady.hpp"

namespace nocktrail::picture {
namespace {

// Grey pictures for the camera's motion need no more, and take a quarter of the memory.
constexpr int kMostGreyWidth_px = 960;

const Shot& shot_of(const ReplayShot& shown) {
  const std::string why = why_no_replay(shown.reading, shown.shot_number);
  if (!why.empty()) {
    throw BadInput(fmt::format("{}: {}", rules::printable(shown.reading.clip.path), why));
  }
  return shown.reading.shots[shown.shot_number];
}

std::string name_of(const ReplayShot& shown) {
  std::string name =
      rules::printable(std::filesystem::path(shown.reading.clip.path).filename().string());
  if (shown.reading.shots.size() > 1) {
    name += fmt::format(", shot {} of {}", shown.shot_number + 1, shown.reading.shots.size());
  }
  return name;
}

long index_at(const std::vector<double>& t_s, double t) {
  const auto at = std::lower_bound(t_s.begin(), t_s.end(), t) - t_s.begin();
  return std::clamp<long>(at, 0, static_cast<long>(t_s.size()) - 1);
}

}  // namespace

std::string why_no_replay(const Reading& reading, std::size_t shot_number) {
  if (shot_number >= reading.shots.size()) {
    return reading.reason.empty() ? "no shot was measured in it, so there is no flight to show"
                                  : reading.reason;
  }
  const Shot& shot = reading.shots[shot_number];
  if (shot.status != ShotStatus::measured) {
    return shot.reason.empty() ? "this shot was not measured, so there is no flight to show"
                               : shot.reason;
  }
  return drawable_instants(shot).empty() ? "nothing of this flight can be drawn" : "";
}

ReplayFrames::ReplayFrames(const ReplayShot& shot, const ReplayOptions& options)
    : shot_(shot_of(shot)),
      reading_(shot.reading),
      stops_(shot.stops),
      name_(name_of(shot)),
      instants_(drawable_instants(shot_)),
      walk_(shot.reading.clip.path, shot.reading.clip.capture_fps) {
  const std::vector<double>& t = walk_.t_s();
  last_ = instants_.back().fitted.index;
  if (t.empty() || last_ >= static_cast<long>(t.size()) || instants_.front().fitted.index < 0) {
    throw UnreadableClip(fmt::format("{}: is not the clip that was read any more; read it again",
                                     rules::printable(shot.reading.clip.path)));
  }
  double from_s = instants_.front().fitted.t_s - options.before_exit_s;
  if (shot_.loose_s && std::isfinite(*shot_.loose_s)) {
    // A loose far before the flight would be none of this one.
    from_s = std::max(from_s - options.before_exit_s, *shot_.loose_s - options.before_loose_s);
  }
  first_ = std::min<long>(index_at(t, from_s), instants_.front().fitted.index);
  const auto count = static_cast<std::size_t>(last_ - first_ + 1);
  const std::size_t most = std::max<std::size_t>(options.most_frames, 2);
  const auto step = static_cast<long>((count + most - 1) / most);
  for (long index = last_; index >= first_; index -= step) {
    shown_.push_back(index);
  }
  std::reverse(shown_.begin(), shown_.end());
}

std::optional<long> ReplayFrames::nearest(double t) const {
  const std::vector<double>& all = walk_.t_s();
  long index = std::clamp(index_at(all, t), first_, last_);
  if (index > first_ && std::abs(t_s(index - 1) - t) < std::abs(t_s(index) - t)) {
    --index;
  }
  const double fps = reading_.clip.capture_fps;
  const double frame_s = fps > 0.0 ? 1.0 / fps : 0.0;
  return std::abs(t_s(index) - t) <= frame_s ? std::optional<long>(index) : std::nullopt;
}

const Instant* ReplayFrames::fitted(long index) const {
  const auto found = std::find_if(instants_.begin(), instants_.end(),
                                  [&](const Instant& one) { return one.fitted.index == index; });
  return found == instants_.end() ? nullptr : &*found;
}

void ReplayFrames::estimate_before() {
  estimated_ = true;
  const Instant& first = instants_.front();
  std::vector<long> indices;
  std::vector<cv::Mat> grey;
  double scale = 1.0;
  for (long index = first_; index <= first.fitted.index; ++index) {
    const cv::Mat& bgr = walk_.at(index);
    if (bgr.empty()) {
      continue;
    }
    cv::Mat luma;
    cv::cvtColor(bgr, luma, cv::COLOR_BGR2GRAY);
    scale = std::min(1.0, static_cast<double>(kMostGreyWidth_px) / luma.cols);
    if (scale < 1.0) {
      cv::resize(luma, luma, {}, scale, scale, cv::INTER_AREA);
      scale = static_cast<double>(luma.cols) / bgr.cols;
    }
    indices.push_back(index);
    grey.push_back(luma);
  }
  if (indices.size() < 2 || indices.back() != first.fitted.index) {
    return;
  }
  steady::SteadyOptions options;
  options.focal_px = scale * reading_.camera.focal_px;
  const steady::Steadied steadied = steady::estimate_motion(grey, grey.size() - 1, options);
  // Integer coordinates are pixel centres in either size.
  Eigen::Matrix3d small_from_large = Eigen::Matrix3d::Identity();
  small_from_large(0, 0) = small_from_large(1, 1) = scale;
  small_from_large(0, 2) = small_from_large(1, 2) = 0.5 * scale - 0.5;
  for (std::size_t k = 0; k + 1 < indices.size(); ++k) {
    const steady::FrameMotion& motion = steadied.motion[k];
    if (!motion.lost && motion.reference_from_frame.allFinite()) {
      before_[indices[k]] = first.fitted.reference_from_frame * small_from_large.inverse() *
                            motion.reference_from_frame * small_from_large;
    }
  }
}

Eigen::Matrix3d ReplayFrames::reference_from_frame(long index) {
  if (!estimated_ && index < instants_.front().fitted.index) {
    estimate_before();
  }
  if (const auto known = before_.find(index); known != before_.end()) {
    return known->second;
  }
  const auto nearest =
      std::min_element(instants_.begin(), instants_.end(), [&](const Instant& a, const Instant& b) {
        return std::abs(a.fitted.index - index) < std::abs(b.fitted.index - index);
      });
  return nearest->fitted.reference_from_frame;
}

}  // namespace nocktrail::picture
