#include "nocktrail/picture/replay.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "nocktrail/error.hpp"
#include "nocktrail/media/film.hpp"
#include "replay_frames.hpp"
#include "replay_sheet.hpp"

namespace nocktrail::picture {
namespace {

// Players stutter over films of a dozen frames a second; each picture is written so often.
constexpr int kRepeated = 2;

double exit_of(const ReplayFrames& frames) {
  if (!frames.shot().exit_s || !std::isfinite(*frames.shot().exit_s)) {
    throw BadInput(fmt::format(
        "{}: when this arrow left the string is not known, so it cannot be laid over another; "
        "show it alone",
        frames.name()));
  }
  return *frames.shot().exit_s;
}

// Where the nock was as it left the string, px of the reference frame: between frames, so the first
// two after it are drawn on backward.
Eigen::Vector2d nock_at_exit(const ReplayFrames& frames) {
  const Instant& first = frames.instants().front();
  if (frames.instants().size() < 2) {
    return first.nock_in_reference_px;
  }
  const Instant& second = frames.instants()[1];
  const double step_s = second.fitted.t_s - first.fitted.t_s;
  const double back_s = first.fitted.t_s - exit_of(frames);
  // No farther back than a frame: the flight's first ones may be missing.
  const double share = step_s > 0.0 ? std::clamp(back_s / step_s, 0.0, 1.0) : 0.0;
  return first.nock_in_reference_px -
         share * (second.nock_in_reference_px - first.nock_in_reference_px);
}

// The second shot's reference frame onto the first's: as large as the focal lengths say, and moved
// so that the nocks meet where they leave the string.
Eigen::Matrix3d first_from_second(const ReplayFrames& first, const ReplayFrames& second) {
  const double one_px = first.reading().camera.focal_px;
  const double other_px = second.reading().camera.focal_px;
  const double scale = one_px > 0.0 && other_px > 0.0 ? one_px / other_px : 1.0;
  Eigen::Matrix3d map = Eigen::Matrix3d::Identity();
  map(0, 0) = map(1, 1) = scale;
  map.block<2, 1>(0, 2) = nock_at_exit(first) - scale * nock_at_exit(second);
  return map;
}

}  // namespace

std::optional<std::string> draw_replay(std::span<const ReplayShot> shots,
                                       const ReplayOptions& options,
                                       const ReplayProgress& progress) {
  if (shots.empty() || shots.size() > 2) {
    throw BadInput("a replay shows one shot, or two one over the other");
  }
  std::vector<std::unique_ptr<ReplayFrames>> frames;
  std::vector<ReplayLayer> layers;
  for (const ReplayShot& shot : shots) {
    frames.push_back(std::make_unique<ReplayFrames>(shot, options));
    layers.push_back({frames.back().get(), std::nullopt, Eigen::Matrix3d::Identity()});
  }
  double later_s = 0.0;  // the second one's exit after the first one's
  if (frames.size() == 2) {
    later_s = exit_of(*frames[1]) - exit_of(*frames[0]);
    layers[1].first_from_reference = first_from_second(*frames[0], *frames[1]);
  }
  const std::vector<long>& shown = frames[0]->shown();
  layers[0].index = shown.front();
  ReplaySheet sheet(layers, options);
  std::unique_ptr<media::Film> film;
  cv::Mat picture;
  const auto show = [&](double play_s) {
    const int rate = kRepeated * options.shown_per_second;
    if (!film) {
      film = std::make_unique<media::Film>(picture.cols, picture.rows, rate);
    }
    for (int k = std::max(1, static_cast<int>(std::lround(play_s * rate))); k > 0; --k) {
      film->add(picture);
    }
  };
  for (std::size_t k = 0; k < shown.size(); ++k) {
    if (progress && !progress(static_cast<double>(k) / static_cast<double>(shown.size()))) {
      return std::nullopt;
    }
    layers[0].index = shown[k];
    if (layers.size() == 2) {
      layers[1].index = frames[1]->nearest(frames[0]->t_s(shown[k]) + later_s);
    }
    picture = sheet.draw(layers);
    show(1.0 / options.shown_per_second);
  }
  show(options.last_held_s);
  return film->finish();
}

}  // namespace nocktrail::picture
