#include "see_limb.hpp"

#include <opencv2/imgproc.hpp>

#include "debug_pictures.hpp"

namespace nocktrail::pipeline {

namespace {

// The mean of the steadied frames from one time to the other, of the first after it where there is
// none between; empty where none is known.
cv::Mat mean_between(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot, double from_s,
                     double to_s) {
  cv::Mat sum;
  int frames = 0;
  for (std::size_t k = 0; k < luma.size(); ++k) {
    const double t_s = shot.frame_t_s[k];
    if (t_s < from_s || (t_s > to_s && frames > 0) || luma[k].empty() ||
        shot.steadied.motion[k].lost) {
      continue;
    }
    if (frames == 0) {
      sum = cv::Mat::zeros(luma[k].size(), CV_32F);
    }
    cv::accumulate(luma[k], sum);
    ++frames;
  }
  cv::Mat mean;
  if (frames > 0) {
    sum.convertTo(mean, CV_8U, 1.0 / frames);
  }
  return mean;
}

// The bow at full draw: its tips stand a foot behind the rest, and it may turn in the hand until
// the arrow is gone, by some degrees (common practice, no source).
bow::LimbOptions at_full_draw() {
  bow::LimbOptions options;
  options.back_m = -0.30;
  options.back_sigma_m = 0.09;
  options.own_error_rad = 0.035;
  return bow::second_look(options);
}

}  // namespace

std::optional<bow::SeenLimb> see_limb(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot,
                                      const std::filesystem::path& debug_dir) {
  constexpr double kFor_s = 0.010;
  const double exit_s = shot.stroke->exit_s;
  cv::Mat picture = mean_between(luma, shot, exit_s, exit_s + kFor_s);
  if (picture.empty()) {
    return std::nullopt;
  }
  const bow::Place place = bow::place_of(shot.fit, *shot.stroke);
  std::optional<bow::SeenLimb> limb = bow::find_limb(picture, place);
  if (!limb) {
    // Before another part of the scenery it may stand out.
    const double loose_s = shot.stroke->loose_s;
    const cv::Mat drawn = mean_between(luma, shot, loose_s - 0.025, loose_s - 0.005);
    limb = drawn.empty() ? limb : bow::find_limb(drawn, place, at_full_draw());
    if (limb) {
      limb->drawn = true;
      picture = drawn;
    }
  }
  debug_limb(debug_dir, shot.surge_s, picture, place, limb);
  return limb;
}

}  // namespace nocktrail::pipeline
