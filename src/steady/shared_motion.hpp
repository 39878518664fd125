// The motion that most corners share between two frames. Private to the room.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace nocktrail::steady {

struct Correspondence {
  Eigen::Vector2d from;  // centred, divided by the focal length
  Eigen::Vector2d to;
};

// Coordinates are centred and divided by the focal length, sigmas too.
struct RobustFit {
  Eigen::Matrix3d to_from = Eigen::Matrix3d::Identity();
  double sigma = 0.0;         // of the corners about it, one axis
  double centre_sigma = 0.0;  // of the motion at the middle
  int agreeing = 0;
};

// On from `start`, by least squares with Tukey's weights; `trust` is beside `pairs`, 0 to 1.
RobustFit fit_motion(const std::vector<Correspondence>& pairs, const std::vector<double>& trust,
                     const Eigen::Matrix3d& start, double focal_px);

}  // namespace nocktrail::steady
