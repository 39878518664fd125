#include <algorithm>
#include <cmath>
#include <vector>

#include "matched.hpp"
#include "nocktrail/track/shaft.hpp"
#include "smear.hpp"

namespace nocktrail::track {
namespace {

struct FarPixel {
  double a;  // along the shaft, from the expected middle
  double b;  // across
  double light;
  double weight;  // inverse variance
};

// Within `reach` of a place along the shaft and across it; the place is in the frame's own part of
// the region.
std::vector<FarPixel> pixels_about(const Region& region, std::size_t frame,
                                   const Eigen::Vector2d& middle, const Eigen::Vector2d& along,
                                   const Eigen::Vector2d& reach_px) {
  const Eigen::Vector2d across(-along.y(), along.x());
  const cv::Mat& difference = region.difference[frame];
  const cv::Point part = region.corner_of(frame);
  const double reach = reach_px.norm();
  std::vector<FarPixel> pixels;
  for (int y = static_cast<int>(middle.y() - reach); y <= static_cast<int>(middle.y() + reach);
       ++y) {
    for (int x = static_cast<int>(middle.x() - reach); x <= static_cast<int>(middle.x() + reach);
         ++x) {
      const Eigen::Vector2d off = Eigen::Vector2d(x, y) - middle;
      const double a = off.dot(along);
      const double b = off.dot(across);
      if (std::abs(a) <= reach_px.x() && std::abs(b) <= reach_px.y()) {
        const auto sigma = static_cast<double>(region.sigma.at<float>(y + part.y, x + part.x));
        const auto excess = static_cast<double>(difference.at<float>(y, x));
        pixels.push_back({a, b, excess, 1.0 / (sigma * sigma)});
      }
    }
  }
  return pixels;
}

// A short bar, soft at both ends.
class Blob {
 public:
  Blob(double length, double width, double softness)
      : half_(0.5 * length), softness_(softness), bars_(width, softness) {}
  double at(double a, double b) const {
    if (std::abs(b) >= bars_.reach()) {
      return 0.0;
    }
    return bars_.even(b) *
           (normal_cdf((a + half_) / softness_) - normal_cdf((a - half_) / softness_));
  }

 private:
  double half_;
  double softness_;
  Bars bars_;
};

// How much of the sum of squares a blob of the best contrast explains there, in squared sigmas.
double gain_at(const std::vector<FarPixel>& pixels, const Blob& blob, double da, double db) {
  Matched matched;
  for (const FarPixel& pixel : pixels) {
    const double t = blob.at(pixel.a - da, pixel.b - db);
    if (t > 1e-4) {
      matched.add(t, pixel.light, pixel.weight);
    }
  }
  return matched.gain();
}

// Where a parabola through three values a step apart has its top, in steps from the middle one.
double top_of(double before, double here, double after) {
  const double curvature = before - 2.0 * here + after;
  return curvature < 0.0 ? std::clamp(0.5 * (before - after) / curvature, -0.5, 0.5) : 0.0;
}

}  // namespace

std::optional<FarSight> sight_far(const Region& region, std::size_t frame,
                                  const Expected& expected) {
  constexpr double kLeastGain = 25.0;  // five sigmas
  constexpr double kRival = 0.5;       // another place that explains this much of the best
  constexpr double kRivalApart_px = 3.0;
  constexpr double kStep_px = 0.5;
  const cv::Mat& difference = region.difference[frame];
  const cv::Point part = region.corner_of(frame);
  const Eigen::Vector2d corner(region.roi.x + part.x, region.roi.y + part.y);
  const Eigen::Vector2d chord = expected.tip_px - expected.nock_px;
  const double length = std::max(1.0, chord.norm());
  const Eigen::Vector2d along = chord / length;
  const Eigen::Vector2d across(-along.y(), along.x());
  const Eigen::Vector2d middle = 0.5 * (expected.nock_px + expected.tip_px) - corner;
  const double reach_a = 0.5 * length + expected.search_along_px + 5.0;
  const double reach_b = expected.search_across_px + 5.0;
  const double reach = std::hypot(reach_a, reach_b);
  if (middle.x() < reach || middle.y() < reach || middle.x() > difference.cols - 1 - reach ||
      middle.y() > difference.rows - 1 - reach) {
    return std::nullopt;
  }
  const std::vector<FarPixel> pixels =
      pixels_about(region, frame, middle, along, {reach_a, reach_b});
  const Blob blob(length, std::max(1.0, expected.width_px), 1.0);
  const int na = static_cast<int>(expected.search_along_px / kStep_px);
  const int nb = static_cast<int>(expected.search_across_px / kStep_px);
  const auto gain = [&](int i, int j) { return gain_at(pixels, blob, i * kStep_px, j * kStep_px); };
  std::vector<double> gains;
  double best = 0.0;
  int bi = 0;
  int bj = 0;
  for (int i = -na; i <= na; ++i) {
    for (int j = -nb; j <= nb; ++j) {
      gains.push_back(gain(i, j));
      if (gains.back() > best) {
        best = gains.back();
        bi = i;
        bj = j;
      }
    }
  }
  if (best < kLeastGain || std::abs(bi) == na || std::abs(bj) == nb) {
    return std::nullopt;
  }
  std::size_t next = 0;
  for (int i = -na; i <= na; ++i) {
    for (int j = -nb; j <= nb; ++j) {
      const double other = gains[next++];
      const double apart_a = std::max(0.0, std::abs(i - bi) * kStep_px - length);
      const double apart_b = std::abs(j - bj) * kStep_px;
      if (std::hypot(apart_a, apart_b) > kRivalApart_px && other > kRival * best) {
        return std::nullopt;
      }
    }
  }
  const double da = kStep_px * (bi + top_of(gain(bi - 1, bj), best, gain(bi + 1, bj)));
  const double db = kStep_px * (bj + top_of(gain(bi, bj - 1), best, gain(bi, bj + 1)));
  // The gain falls by one at one sigma.
  const auto sigma_of = [&](double before, double after) {
    const double curvature = (2.0 * best - before - after) / (kStep_px * kStep_px);
    return 1.0 / std::sqrt(std::max(0.5 * curvature, 1e-3));
  };
  FarSight sight;
  sight.at_px = corner + middle + along * da + across * db;
  sight.sigma_along_px = sigma_of(gain(bi - 1, bj), gain(bi + 1, bj));
  sight.sigma_across_px = sigma_of(gain(bi, bj - 1), gain(bi, bj + 1));
  return sight;
}

}  // namespace nocktrail::track
