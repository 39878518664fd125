#include "see_limb.hpp"

#include "debug_pictures.hpp"
#include "stretch.hpp"

namespace nocktrail::pipeline {

namespace {

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
