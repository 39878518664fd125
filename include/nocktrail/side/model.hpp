// An arrow in free flight as a camera beside its line sees it: the motion of flight/model.hpp, with
// parameters that suit a flight across the picture.
//
// Frame. The camera frame (X right, Y down, Z along the view). The velocity at the anchor is
//     way (cos slope cos yaw, 0, 0) + (0, sin slope cos yaw, sin yaw),
// way = +1 for a flight to the picture's right, -1 to its left, so that slope is the fall of the
// path in the picture and yaw how far the flight recedes. Plumb is (sin roll, cos roll, tan pitch)
// made unit: pitch is positive for a camera that looks down.
//
// What the offset needs is little: the angle in the picture between shaft and path, near each other
// in place and direction, so that scale, focal length and yaw enter through cosines alone. What
// remains is the lateral offset: seen from above the shaft by some angle, a nock to the side looks
// high or low by its sine.
#pragma once

#include <Eigen/Core>
#include <cmath>

#include "nocktrail/flight/model.hpp"

namespace nocktrail::side {

enum Parameter : int {
  kCentreX,  // where the centre of mass is seen at the anchor, px, lens distortion taken out
  kCentreY,
  kLogDepth,  // log of its camera depth there, m
  kSlope,     // rad, positive: the path falls in the picture
  kYaw,       // rad, positive: the flight recedes
  kRoll,      // rad, of the camera
  kPitch,     // rad, positive: the camera looks down
  kLogSpeed,  // the rest as in flight/model.hpp
  kLogLength,
  kLogFocal,
  kReadout,
  kLogWave,
  kDamping,
  kRight,
  kRightRate,
  kHigh,
  kHighRate,
  kLift,
  kDrag,
  kFlexDownCos,
  kFlexDownSin,
  kFlexHz,
  kFlexDecay,
  kNockEnd,
  kTipEnd,
  kTipMass,
  kDistortion,  // k1: x_seen = x (1 + k1 r^2), r from the picture's middle in focal lengths
  kParameters
};

using Parameters = Eigen::Matrix<double, kParameters, 1>;

template <typename T>
Eigen::Matrix<T, 3, 1> plumb_of(const T* p) {
  using std::cos;
  using std::sin;
  using std::tan;
  return Eigen::Matrix<T, 3, 1>(sin(p[kRoll]), cos(p[kRoll]), tan(p[kPitch])).normalized();
}

template <typename T>
flight::ArrowState<T> state_at(const T* p, const Eigen::Vector2d& principal_px, double way,
                               const T& dt) {
  using std::cos;
  using std::exp;
  using std::sin;
  flight::Launch<T> launch;
  launch.forward = {T(way) * cos(p[kSlope]) * cos(p[kYaw]), sin(p[kSlope]) * cos(p[kYaw]),
                    sin(p[kYaw])};
  launch.plumb = plumb_of(p);
  launch.centre_m = optics::ray<T>(exp(p[kLogFocal]), principal_px,
                                   Eigen::Matrix<T, 2, 1>(p[kCentreX], p[kCentreY])) *
                    exp(p[kLogDepth]);
  launch.speed = exp(p[kLogSpeed]);
  launch.length_m = exp(p[kLogLength]);
  launch.log_wave = p[kLogWave];
  launch.damping = p[kDamping];
  launch.right = p[kRight];
  launch.right_rate = p[kRightRate];
  launch.high = p[kHigh];
  launch.high_rate = p[kHighRate];
  launch.lift = p[kLift];
  launch.drag = p[kDrag];
  // Sideways the shaft bends along the line of sight.
  launch.flex_right_cos = T(0);
  launch.flex_right_sin = T(0);
  launch.flex_down_cos = p[kFlexDownCos];
  launch.flex_down_sin = p[kFlexDownSin];
  launch.flex_hz = p[kFlexHz];
  launch.flex_decay = p[kFlexDecay];
  launch.sway_right = T(0);
  launch.sway_down = T(0);
  launch.tip_mass_ratio = p[kTipMass];
  return flight::state_from(launch, dt);
}

// Pinhole and radial distortion.
template <typename T>
Eigen::Matrix<T, 2, 1> seen_at(const T* p, const Eigen::Vector2d& principal_px,
                               const Eigen::Matrix<T, 3, 1>& point_m) {
  using std::exp;
  const Eigen::Matrix<T, 2, 1> straight = point_m.template head<2>() / point_m.z();
  const T stretch = exp(p[kLogFocal]) * (T(1) + p[kDistortion] * straight.squaredNorm());
  return straight * stretch + principal_px.cast<T>();
}

}  // namespace nocktrail::side
