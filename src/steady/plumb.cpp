#include "nocktrail/steady/plumb.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace nocktrail::steady {
namespace {

// A line's say about the roll.
struct Witness {
  double roll_rad = 0.0;
  double sigma_rad = 0.0;
  double weight = 0.0;
  std::size_t place = 0;
};

constexpr double kLaunchElevation = 0.026;  // 1.5 deg: arrows fly up to come down in the butt

std::vector<Witness> witnesses(const cv::Mat& still, const Eigen::Vector2d& vanishing_px,
                               double focal_px, const PlumbOptions& options) {
  const int top =
      std::clamp(static_cast<int>(vanishing_px.y() - options.above * focal_px), 0, still.rows - 1);
  const int bottom =
      std::clamp(static_cast<int>(vanishing_px.y() + options.below * focal_px), 0, still.rows);
  if (bottom - top < 16) {
    return {};
  }
  std::vector<cv::Vec4f> lines;
  constexpr double kShrunk = 0.6;  // long lines lose nothing, time and memory halve
  cv::createLineSegmentDetector(cv::LSD_REFINE_STD, kShrunk)
      ->detect(still.rowRange(top, bottom).clone(), lines);
  const double horizon_y = vanishing_px.y() + kLaunchElevation * focal_px;
  const double look_down = (0.5 * (still.rows - 1) - horizon_y) / focal_px;
  const double column_px = static_cast<double>(still.cols) / options.places;
  std::vector<Witness> found;
  for (const cv::Vec4f& line : lines) {
    const Eigen::Vector2d a(static_cast<double>(line[0]), static_cast<double>(line[1]) + top);
    const Eigen::Vector2d b(static_cast<double>(line[2]), static_cast<double>(line[3]) + top);
    const Eigen::Vector2d along = b - a;
    const double length = along.norm();
    const Eigen::Vector2d middle = 0.5 * (a + b);
    const double slip = options.point_px * std::sqrt(2.0) / std::max(length, 1.0);
    const double beside = (middle.x() - vanishing_px.x()) / focal_px;
    Witness w;
    double full_px = 0.0;
    if (std::abs(along.y()) > std::abs(along.x())) {
      if (length < options.upright_px) {
        continue;
      }
      w.roll_rad = std::atan(along.x() / along.y()) + beside * look_down;
      w.sigma_rad = std::hypot(options.line_sigma_rad, slip, beside * options.pitch_sigma_rad);
      full_px = 2.0 * options.upright_px;
    } else {
      if (length < options.level_px) {
        continue;
      }
      w.roll_rad = std::atan(-along.y() / along.x());
      w.sigma_rad = std::hypot(options.line_sigma_rad, slip,
                               (middle.y() - horizon_y) / focal_px * options.turn_sigma);
      full_px = 2.0 * options.level_px;
    }
    if (std::abs(w.roll_rad) > 2.0 * options.most_roll_rad) {
      continue;
    }
    w.weight = length / full_px;
    w.place = static_cast<std::size_t>(
        std::clamp(static_cast<int>(middle.x() / column_px), 0, options.places - 1));
    found.push_back(w);
  }
  return found;
}

}  // namespace

Plumb find_plumb(const cv::Mat& still, const Eigen::Vector2d& vanishing_px, double focal_px,
                 const PlumbOptions& options) {
  const std::vector<Witness> lines = witnesses(still, vanishing_px, focal_px, options);
  // What agrees with a roll, place by place; a place full of lines counts once.
  std::vector<double> of_place(static_cast<std::size_t>(options.places));
  const auto agreement = [&](double roll) {
    std::fill(of_place.begin(), of_place.end(), 0.0);
    for (const Witness& w : lines) {
      const double z = (w.roll_rad - roll) / w.sigma_rad;
      // A poor witness agrees with everything and so says little.
      of_place[w.place] += w.weight * std::exp(-0.5 * z * z) * options.line_sigma_rad / w.sigma_rad;
    }
    double sum = 0.0;
    for (const double place : of_place) {
      sum += std::min(1.0, place);
    }
    return sum;
  };
  constexpr double kStep = 0.001;
  const int steps = static_cast<int>(options.most_roll_rad / kStep);
  std::vector<double> log_weight;
  for (int i = -steps; i <= steps; ++i) {
    const double z = i * kStep / options.level_sigma_rad;
    log_weight.push_back(options.say * agreement(i * kStep) - 0.5 * z * z);
  }
  const double top = *std::max_element(log_weight.begin(), log_weight.end());
  double sum = 0.0;
  double first = 0.0;
  double second = 0.0;
  for (int i = -steps; i <= steps; ++i) {
    const double weight = std::exp(log_weight[static_cast<std::size_t>(i + steps)] - top);
    sum += weight;
    first += weight * i * kStep;
    second += weight * i * kStep * i * kStep;
  }
  Plumb plumb;
  plumb.roll_rad = first / sum;
  plumb.sigma_rad = std::hypot(
      options.floor_rad, std::sqrt(std::max(0.0, second / sum - plumb.roll_rad * plumb.roll_rad)));
  return plumb;
}

}  // namespace nocktrail::steady
