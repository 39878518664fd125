#include "see_limb.hpp"

#include <opencv2/imgproc.hpp>

#include "debug_pictures.hpp"

namespace nocktrail::pipeline {

std::optional<bow::SeenLimb> see_limb(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot,
                                      const std::filesystem::path& debug_dir) {
  constexpr double kFor_s = 0.010;
  cv::Mat sum;
  int frames = 0;
  for (std::size_t k = 0; k < luma.size(); ++k) {
    const double since_s = shot.frame_t_s[k] - shot.stroke->exit_s;
    if (since_s < 0.0 || (since_s > kFor_s && frames > 0) || luma[k].empty() ||
        shot.steadied.motion[k].lost) {
      continue;
    }
    if (frames == 0) {
      sum = cv::Mat::zeros(luma[k].size(), CV_32F);
    }
    cv::accumulate(luma[k], sum);
    ++frames;
  }
  if (frames == 0) {
    return std::nullopt;
  }
  cv::Mat mean;
  sum.convertTo(mean, CV_8U, 1.0 / frames);
  const bow::Place place = bow::place_of(shot.fit, *shot.stroke);
  std::optional<bow::SeenLimb> limb = bow::find_limb(mean, place);
  debug_limb(debug_dir, shot.surge_s, mean, place, limb);
  return limb;
}

}  // namespace nocktrail::pipeline
