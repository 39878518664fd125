#include "shaft_common.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::track {

double slice_px(double length_px) {
  return std::clamp(std::floor(length_px / 12.0), 2.0, 8.0);
}

float sample(const cv::Mat& image, double x, double y) {
  const int x0 = static_cast<int>(std::floor(x));
  const int y0 = static_cast<int>(std::floor(y));
  if (x0 < 0 || y0 < 0 || x0 + 1 >= image.cols || y0 + 1 >= image.rows) {
    return 0.0F;
  }
  const float fx = static_cast<float>(x - x0);
  const float fy = static_cast<float>(y - y0);
  const float* top = image.ptr<float>(y0) + x0;
  const float* bottom = image.ptr<float>(y0 + 1) + x0;
  return (1 - fy) * ((1 - fx) * top[0] + fx * top[1]) +
         fy * ((1 - fx) * bottom[0] + fx * bottom[1]);
}

// A bar of the given width seen through a Gaussian blur.
double bar(double b, double width, double softness) {
  const double s = softness * std::sqrt(2.0);
  return 0.5 * (std::erf((b + width / 2) / s) - std::erf((b - width / 2) / s));
}

double bar_slope(double b, double width, double softness) {
  const auto bell = [&](double x) {
    return std::exp(-x * x / (2 * softness * softness)) / (softness * std::sqrt(2 * M_PI));
  };
  return bell(b + width / 2) - bell(b - width / 2);
}

// Integral of 2u/w N(b - u) over the bar, by parts.
double tilted_bar(double b, double width, double softness) {
  return 2.0 / width *
         (b * bar(b, width, softness) + softness * softness * bar_slope(b, width, softness));
}

double tilted_bar_slope(double b, double width, double softness) {
  const double s2 = softness * softness;
  const auto bell = [&](double x) {
    return std::exp(-x * x / (2 * s2)) / (softness * std::sqrt(2 * M_PI));
  };
  const double upper = b + width / 2;
  const double lower = b - width / 2;
  const double bend = -(upper * bell(upper) - lower * bell(lower)) / s2;
  return 2.0 / width * (bar(b, width, softness) + b * bar_slope(b, width, softness) + s2 * bend);
}

double share_of(double fraction, double depth_ratio) {
  return fraction / (depth_ratio * (1.0 - fraction) + fraction);
}

double fraction_of(double share, double depth_ratio) {
  return share * depth_ratio / ((1.0 - share) + share * depth_ratio);
}

double level_at(const std::vector<double>& values, double first_px, double a) {
  const double c = std::clamp(a - first_px, 0.0, static_cast<double>(values.size()) - 1.001);
  const auto i = static_cast<std::size_t>(c);
  const double f = c - static_cast<double>(i);
  return (1 - f) * values[i] + f * values[i + 1];
}

}  // namespace nocktrail::track
