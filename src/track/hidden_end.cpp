#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "nocktrail/track/shaft.hpp"

namespace nocktrail::track {
namespace {

// A pixel near the end that shows no arrow.
struct Beside {
  double a;  // outward
  double b;
  double light;
};

std::vector<Beside> around(const Region& region, std::size_t frame, const Eigen::Vector2d& end_px,
                           const Eigen::Vector2d& outward, double clear_px, double radius_px) {
  const cv::Mat& difference = region.difference[frame];
  const cv::Point part = region.corner_of(frame);
  const Eigen::Vector2d corner(region.roi.x + part.x, region.roi.y + part.y);
  const Eigen::Vector2d at = end_px - corner;
  const Eigen::Vector2d across(-outward.y(), outward.x());
  const int x0 = std::max(0, static_cast<int>(std::ceil(at.x() - radius_px)));
  const int x1 = std::min(difference.cols - 1, static_cast<int>(std::floor(at.x() + radius_px)));
  const int y0 = std::max(0, static_cast<int>(std::ceil(at.y() - radius_px)));
  const int y1 = std::min(difference.rows - 1, static_cast<int>(std::floor(at.y() + radius_px)));
  std::vector<Beside> pixels;
  for (int y = y0; y <= y1; ++y) {
    for (int x = x0; x <= x1; ++x) {
      const Eigen::Vector2d off = Eigen::Vector2d(x, y) - at;
      const double a = off.dot(outward);
      const double b = off.dot(across);
      constexpr double kSoft_px = 2.0;
      if (off.norm() > radius_px || (a < kSoft_px && std::abs(b) < clear_px)) {
        continue;
      }
      pixels.push_back(
          {a, b,
           static_cast<double>(difference.at<float>(y, x)) +
               static_cast<double>(region.background.at<float>(y + part.y, x + part.x))});
    }
  }
  return pixels;
}

// Share of the light's variance that a step across a straight line explains.
double explained(const std::vector<Beside>& pixels, double turn_rad, double shift_px) {
  const double c = std::cos(turn_rad);
  const double s = std::sin(turn_rad);
  std::array<double, 2> n{};
  std::array<double, 2> sum{};
  double squares = 0.0;
  for (const Beside& pixel : pixels) {
    const double d = pixel.a * c + pixel.b * s - shift_px;
    constexpr double kEdge_px = 1.0;
    if (std::abs(d) < kEdge_px) {
      continue;
    }
    const std::size_t side = d > 0.0 ? 1 : 0;
    n[side] += 1.0;
    sum[side] += pixel.light;
    squares += pixel.light * pixel.light;
  }
  constexpr double kLeast = 8.0;
  if (n[0] < kLeast || n[1] < kLeast) {
    return 0.0;
  }
  const double mean = (sum[0] + sum[1]) / (n[0] + n[1]);
  const double total = squares - (n[0] + n[1]) * mean * mean;
  const double between =
      sum[0] * sum[0] / n[0] + sum[1] * sum[1] / n[1] - (n[0] + n[1]) * mean * mean;
  return total > 0.0 ? between / total : 0.0;
}

// `outward` is the unit vector from the shaft; within `clear_px` of its axis, shaft and vanes are
// left out.
bool at_an_edge(const Region& region, std::size_t frame, const Eigen::Vector2d& end_px,
                const Eigen::Vector2d& outward, double width_px, double clear_px) {
  constexpr double kExplained = 0.7;
  const double radius = std::max(6.0, 3.0 * width_px);
  const std::vector<Beside> pixels = around(region, frame, end_px, outward, clear_px, radius);
  for (const double turn_deg : {-60.0, -45.0, -30.0, -15.0, 0.0, 15.0, 30.0, 45.0, 60.0}) {
    for (const double shift_px : {-1.0, 0.0, 1.0}) {
      if (explained(pixels, turn_deg * std::numbers::pi / 180.0, shift_px) > kExplained) {
        return true;
      }
    }
  }
  return false;
}

double width_of(const ShaftProfile& profile) {
  return std::max(1.0, profile.expected.width_px);
}

}  // namespace

bool nock_at_an_edge(const Region& region, const ShaftProfile& profile,
                     const Eigen::Vector2d& nock_px) {
  const double width = width_of(profile);
  const double vanes = 2.0 * width;  // from the axis: they stand 10-16 mm off
  return at_an_edge(region, profile.frame, nock_px, -profile.along, width, vanes + 1.0);
}

bool tip_at_an_edge(const Region& region, const ShaftProfile& profile,
                    const Eigen::Vector2d& tip_px) {
  constexpr double kBlur_px = 1.5;
  const double width = width_of(profile);
  return at_an_edge(region, profile.frame, tip_px, profile.along, width, width / 2 + kBlur_px);
}

}  // namespace nocktrail::track
