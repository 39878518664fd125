#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>

#include "shaft_common.hpp"

namespace nocktrail::track {

std::optional<CoarseShaft> coarse_shaft(const Region& region, std::size_t frame, const Sweep& sweep,
                                        double t_s, const ShaftOptions& options) {
  const double inverse = sweep.inverse_start + sweep.inverse_rate * t_s;
  const double reach = sweep.inverse_rate * sweep.cover_s;
  if (inverse - reach < 1e-4 || region.difference[frame].empty()) {
    return std::nullopt;
  }
  const double s_far = 1.0 / (inverse + 1.1 * reach);
  const double s_near = std::min(1.0 / std::max(inverse - 1.1 * reach, 1e-3), 3.0 / inverse);
  const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  struct Pixel {
    Eigen::Vector2d at;
    double s;
    double weight;
  };
  std::vector<Pixel> pixels;
  const cv::Mat& d = region.difference[frame];
  const cv::Point part = region.corner_of(frame);
  for (int y = 1; y + 1 < d.rows; ++y) {
    for (int x = 1; x + 1 < d.cols; ++x) {
      const Eigen::Vector2d at = Eigen::Vector2d(x + part.x, y + part.y) + corner;
      const Eigen::Vector2d from_vp = at - sweep.vanishing_px;
      const double s = from_vp.dot(sweep.outward);
      if (s < s_far || s > s_near || std::abs(from_vp.dot(side)) > 4.0 + 0.14 * s) {
        continue;
      }
      // Two by one means keep lone noisy pixels out.
      const float here = d.at<float>(y, x);
      const float around = std::max(
          {std::abs(here + d.at<float>(y - 1, x)), std::abs(here + d.at<float>(y + 1, x)),
           std::abs(here + d.at<float>(y, x - 1)), std::abs(here + d.at<float>(y, x + 1))});
      const double z = static_cast<double>(around) /
                       (1.4 * static_cast<double>(region.sigma.at<float>(y + part.y, x + part.x)));
      if (z > options.changed_sigma) {
        pixels.push_back({at, s, std::min(z, 12.0)});
      }
    }
  }
  if (pixels.size() < 6) {
    return std::nullopt;
  }
  // The line with most weight: pairs of pixels in a fixed stride, so that the result does not
  // depend on a random draw.
  const double expected = s_near - s_far;
  double best_score = 0.0;
  Eigen::Vector2d best_at = Eigen::Vector2d::Zero();
  Eigen::Vector2d best_along = Eigen::Vector2d::Zero();
  const std::size_t stride = std::max<std::size_t>(1, pixels.size() / 50);
  for (std::size_t i = 0; i < pixels.size(); i += stride) {
    for (std::size_t j = i + 1 + i % stride; j < pixels.size(); j += stride) {
      const Eigen::Vector2d step = pixels[j].at - pixels[i].at;
      const double apart = step.norm();
      if (apart < std::max(4.0, 0.2 * expected)) {
        continue;
      }
      const Eigen::Vector2d along = step / apart;
      if (std::abs(along.dot(sweep.outward)) < 0.75) {
        continue;
      }
      double score = 0.0;
      for (std::size_t m = 0; m < pixels.size();
           m += std::max<std::size_t>(1, pixels.size() / 400)) {
        const Eigen::Vector2d off = pixels[m].at - pixels[i].at;
        const double beside = std::abs(off.x() * along.y() - off.y() * along.x());
        score += beside < 1.6 ? pixels[m].weight * (1.0 - beside / 1.6) : 0.0;
      }
      if (score > best_score) {
        best_score = score;
        best_at = pixels[i].at;
        best_along = along.dot(sweep.outward) > 0 ? along : Eigen::Vector2d(-along);
      }
    }
  }
  if (best_score <= 0.0) {
    return std::nullopt;
  }
  // Longest chain along the line with small gaps; outward is toward the nock.
  std::vector<double> places;
  for (const Pixel& pixel : pixels) {
    const Eigen::Vector2d off = pixel.at - best_at;
    if (std::abs(off.x() * best_along.y() - off.y() * best_along.x()) < 1.8) {
      places.push_back(off.dot(best_along));
    }
  }
  std::sort(places.begin(), places.end());
  const double gap = std::max(3.5, 0.12 * expected);
  std::size_t best_first = 0;
  std::size_t best_last = 0;
  for (std::size_t first = 0; first < places.size();) {
    std::size_t last = first;
    while (last + 1 < places.size() && places[last + 1] - places[last] < gap) {
      ++last;
    }
    if (places[last] - places[first] > places[best_last] - places[best_first]) {
      best_first = first;
      best_last = last;
    }
    first = last + 1;
  }
  if (places.empty() || places[best_last] - places[best_first] < std::max(4.0, 0.15 * expected)) {
    return std::nullopt;
  }
  return CoarseShaft{best_at + best_along * places[best_last],
                     best_at + best_along * places[best_first]};
}

}  // namespace nocktrail::track
