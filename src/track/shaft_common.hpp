// Small tools shared by the files that sight the shaft. Private to the tracker.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/track/shaft.hpp"

namespace nocktrail::track {

// How long a piece of a shaft is looked at at once for its centre.
double slice_px(double length_px);

// Bilinear sample of a CV_32F picture; 0 outside.
float sample(const cv::Mat& image, double x, double y);

// A bar of the given width across, seen through a Gaussian blur, and its slope.
double bar(double b, double width, double softness);
double bar_slope(double b, double width, double softness);

// The same bar with a grey that rises across it from -1 to +1, and its slope.
double tilted_bar(double b, double width, double softness);
double tilted_bar_slope(double b, double width, double softness);

// Share of the shaft at a fraction of its picture length, and back: the far end is foreshortened
// (projective map of a line, Hartley & Zisserman section 2.5).
double share_of(double fraction, double depth_ratio);
double fraction_of(double share, double depth_ratio);

// How far the bent shaft stands off its chord at a place along it, and how far along it its points
// have slipped. Inner loops work out once what is the same for all places.
inline double bow_steps_per_px(const Expected& expected, double length_px) {
  return (static_cast<double>(expected.bow_px.size()) - 1.0) / length_px;
}
struct AtStep {
  double off_px = 0.0;
  double slope_px = 0.0;  // a step
};
// Straight on beyond the ends.
inline AtStep at_step(const std::vector<double>& off_px, double step) {
  if (off_px.size() < 2) {
    return {};
  }
  // An int converts faster than an unsigned one.
  const auto i = static_cast<int>(std::clamp(step, 0.0, static_cast<double>(off_px.size()) - 2.0));
  const double* const off = off_px.data() + i;
  const double slope = off[1] - off[0];
  return {off[0] + (step - i) * slope, slope};
}
inline double bow_at(const Expected& expected, double along_px, double length_px) {
  return at_step(expected.bow_px, along_px * bow_steps_per_px(expected, length_px)).off_px;
}

// Linear interpolation of values one pixel apart, the first at first_px.
double level_at(const std::vector<double>& values, double first_px, double a);

}  // namespace nocktrail::track
