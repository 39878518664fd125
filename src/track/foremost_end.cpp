#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "matched.hpp"
#include "nocktrail/median.hpp"
#include "shaft_common.hpp"

namespace nocktrail::track {

namespace {

// Matched contrast over its noise at each place of the curve, the best over the width.
std::vector<double> strength_along(const Region& region, std::size_t frame,
                                   const std::vector<Eigen::Vector2d>& curve,
                                   const std::vector<double>& width_px, double search_across_px,
                                   const ShaftOptions& options) {
  const std::size_t n = curve.size();
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  const Eigen::Vector2d part(region.corner_of(frame).x, region.corner_of(frame).y);
  std::vector<double> strength(n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    const Eigen::Vector2d along =
        (curve[std::min(i + 2, n - 1)] - curve[i >= 2 ? i - 2 : 0]).normalized();
    const Eigen::Vector2d across(-along.y(), along.x());
    const double width = std::max(1.0, width_px[i]);
    const double reach = search_across_px + width / 2 + 2.0;
    std::vector<double> profile;
    std::vector<double> trust;  // 1 / variance; samples half a pixel apart count half
    for (double b = -reach; b <= reach + 1e-9; b += 0.5) {
      const Eigen::Vector2d at = curve[i] + across * b - corner;
      profile.push_back(static_cast<double>(
          sample(region.difference[frame], at.x() - part.x(), at.y() - part.y())));
      const double sigma = std::max(0.1, static_cast<double>(sample(region.sigma, at.x(), at.y())));
      trust.push_back(0.5 / (sigma * sigma));
    }
    // Samples and tried centres are both half a pixel apart: the bar needs evaluating only once per
    // distance.
    const auto half = static_cast<int>(std::floor((width / 2 + 2.5) / 0.5));
    std::vector<double> shape;
    for (int k = 0; k <= half; ++k) {
      shape.push_back(bar(0.5 * k, width, options.edge_softness_px));
    }
    const auto rows = static_cast<int>(profile.size());
    const auto slack = static_cast<int>(search_across_px / 0.5);
    for (int centre = rows / 2 - slack; centre <= rows / 2 + slack; ++centre) {
      Matched matched;
      for (int j = std::max(0, centre - half); j <= std::min(rows - 1, centre + half); ++j) {
        const auto at = static_cast<std::size_t>(j);
        matched.add(shape[static_cast<std::size_t>(std::abs(j - centre))], profile[at], trust[at]);
      }
      strength[i] = std::max(strength[i], matched.strength());
    }
  }
  return strength;
}

// Over a few pixels.
std::vector<double> smoothed(const std::vector<double>& strength) {
  const std::size_t n = strength.size();
  std::vector<double> smooth(n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    double sum = 0.0;
    int count = 0;
    for (std::size_t j = i >= 2 ? i - 2 : 0; j <= std::min(i + 2, n - 1); ++j) {
      sum += strength[j];
      ++count;
    }
    smooth[i] = sum / count;
  }
  return smooth;
}

}  // namespace

std::optional<double> foremost_end(const Region& region, std::size_t frame,
                                   const std::vector<Eigen::Vector2d>& curve,
                                   const std::vector<double>& width_px, double search_across_px,
                                   const ShaftOptions& options) {
  const std::size_t n = curve.size();
  if (n < 12) {
    return std::nullopt;
  }
  const std::vector<double> strength =
      strength_along(region, frame, curve, width_px, search_across_px, options);
  const std::vector<double> smooth = smoothed(strength);
  // Leaves room for the search's own maximum over noise.
  const double threshold =
      options.least_contrast_sigma + 1.0 + 0.5 * std::log(1.0 + search_across_px);
  const std::size_t run = 8;
  if (smooth[n - 1] > threshold || smooth[n - 3] > threshold) {
    return std::nullopt;
  }
  for (std::size_t i = n - 1; i >= run; --i) {
    bool present = true;
    for (std::size_t j = i - run; j <= i && present; ++j) {
      present = smooth[j] > threshold;
    }
    if (!present) {
      continue;
    }
    // Half of the level just inside, between the two samples around it.
    std::vector<double> inner(strength.begin() + static_cast<std::ptrdiff_t>(i - run),
                              strength.begin() + static_cast<std::ptrdiff_t>(i) - 1);
    const double half = std::max(threshold, 0.5 * upper_median(inner));
    std::size_t j = i >= 3 ? i - 3 : 0;
    while (j + 1 < n && smooth[j + 1] > half) {
      ++j;
    }
    const double next = j + 1 < n ? smooth[j + 1] : 0.0;
    return static_cast<double>(j) +
           std::clamp((smooth[j] - half) / std::max(1e-6, smooth[j] - next), 0.0, 1.0);
  }
  return std::nullopt;
}

}  // namespace nocktrail::track
