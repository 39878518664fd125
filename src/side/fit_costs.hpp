// What a sight costs, and what is believed beforehand. Private to the room.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <vector>

#include "nocktrail/side/fit.hpp"

namespace nocktrail::side {

enum class Part { centre, nock, tip };

// One observation: the component along `direction` of (seen - observed), in sigmas.
struct PointCost {
  Eigen::Vector2d observed_px;
  Eigen::Vector2d direction;
  double sigma_px;
  double share;
  Part part;
  double dt_s;
  double row;  // share of the read-out, from the picture's middle
  double way;
  Eigen::Vector2d principal_px;

  template <typename T>
  bool operator()(const T* p, T* residual) const {
    const flight::ArrowState<T> state =
        state_at<T>(p, principal_px, way, T(dt_s) + p[kReadout] * T(row));
    const flight::ShapeAt shape = flight::shape_at(share, value_of(p[kTipMass]));
    T along = (T(share) - state.balance) * state.length_m;
    if (part == Part::nock) {
      along += p[kNockEnd];
    } else if (part == Part::tip) {
      along += p[kTipEnd];
    }
    // The bending shape hardly changes with the point's mass: taken as it is.
    Eigen::Matrix<T, 3, 1> at =
        state.centre_m + state.axis * along + state.down * (state.flex_down_m * T(shape.value));
    if (at.z() < T(0.05)) {
      at.z() = T(0.05);
    }
    const Eigen::Matrix<T, 2, 1> seen = seen_at<T>(p, principal_px, at);
    residual[0] = ((seen.x() - T(observed_px.x())) * T(direction.x()) +
                   (seen.y() - T(observed_px.y())) * T(direction.y())) /
                  T(sigma_px);
    return true;
  }

  static double value_of(double v) { return v; }
  template <typename J>
  static double value_of(const J& jet) {
    return jet.a;
  }
};

struct PriorCost {
  int index;
  flight::Prior prior;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    residual[0] = (p[index] - T(prior.mean)) / T(prior.sigma);
    return true;
  }
};

// The sine of the angle by which the camera looks down on the arrow.
template <typename T>
T sine_down(const T* p, const Eigen::Vector2d& principal_px) {
  using std::exp;
  const Eigen::Matrix<T, 3, 1> sight = optics::ray<T>(
      exp(p[kLogFocal]), principal_px, Eigen::Matrix<T, 2, 1>(p[kCentreX], p[kCentreY]));
  return plumb_of(p).dot(sight) / sight.norm();
}

struct CameraAbove {
  Eigen::Vector2d principal_px;
  double sigma_m;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    using std::exp;
    residual[0] = sine_down(p, principal_px) * exp(p[kLogDepth]) / T(sigma_m);
    return true;
  }
};

inline std::vector<PriorCost> all_priors(const SidePriors& side, double focal_px) {
  const flight::FlightPriors& flight = side.flight;
  const auto log_of = [](const flight::Prior& p) {
    return flight::Prior{std::log(p.mean), p.sigma / p.mean};
  };
  return {
      {kLogDepth, log_of(side.distance_m)},
      {kYaw, side.yaw_rad},
      {kRoll, side.roll_rad},
      {kPitch, side.pitch_rad},
      {kLogSpeed, flight.log_speed},
      {kLogLength, log_of(flight.length_m)},
      {kLogFocal, {std::log(focal_px), flight.focal_relative_sigma}},
      {kReadout, flight.readout_s},
      {kLogWave, flight.log_wave},
      {kDamping, flight.damping},
      {kRight, {0.0, side.right_sigma_rad}},
      {kRightRate, {0.0, flight.offset_rate_sigma}},
      {kHigh, {0.0, flight.high_sigma_rad}},
      {kHighRate, {0.0, flight.offset_rate_sigma}},
      {kLift, flight.lift_m},
      {kDrag, flight.drag_mps2},
      {kFlexDownCos, {0.0, flight.flex_down_sigma_m}},
      {kFlexDownSin, {0.0, flight.flex_down_sigma_m}},
      {kFlexHz, flight.flex_hz},
      {kFlexDecay, flight.flex_decay},
      {kNockEnd, side.nock_end_m},
      {kTipEnd, side.tip_end_m},
      {kTipMass, flight.tip_mass_ratio},
      {kDistortion, {0.0, side.distortion_sigma}},
  };
}

}  // namespace nocktrail::side
