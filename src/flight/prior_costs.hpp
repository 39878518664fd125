// What is believed before the clip is looked at, as residuals for Ceres, each in sigmas. Private to
// the room.
#pragma once

#include <ceres/ceres.h>

#include <Eigen/Core>
#include <cmath>
#include <utility>
#include <vector>

#include "nocktrail/flight/fit.hpp"

namespace nocktrail::flight {

struct PriorResidual {
  int index;
  Prior prior;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    residual[0] = (p[index] - T(prior.mean)) / T(prior.sigma);
    return true;
  }
};

struct JitterPrior {
  double sigma;
  template <typename T>
  bool operator()(const T* jitter, T* residual) const {
    residual[0] = jitter[0] / T(sigma);
    residual[1] = jitter[1] / T(sigma);
    return true;
  }
};

// The camera's distance from the line of flight, square to it.
struct CameraAbove {
  Eigen::Vector2d principal_px;
  Prior prior;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    const ArrowState<T> state = state_at<T>(p, principal_px, T(0));
    const T distance = state.centre_m.cross(state.forward).norm();
    residual[0] = (distance - T(prior.mean)) / T(prior.sigma);
    return true;
  }
};

// The camera's distance behind the rest: the nock leaves the string one brace height behind it.
struct CameraBehind {
  Eigen::Vector2d principal_px;
  Prior prior;
  double exit_dt_s;
  double exit_sigma_s;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    using std::exp;
    const ArrowState<T> state = state_at<T>(p, principal_px, T(exit_dt_s));
    const Eigen::Matrix<T, 3, 1> nock =
        state.centre_m - state.axis * (state.balance * state.length_m);
    const double timing_m = 55.0 * exit_sigma_s;
    residual[0] = (nock.dot(state.forward) + T(kBraceHeightM) - T(prior.mean)) /
                  T(std::hypot(prior.sigma, timing_m));
    return true;
  }
};

// The way from the string to the butt, at a speed that falls at a constant rate.
struct FlownCost {
  Flown flown;
  double anchor_s;
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    using std::exp;
    const double from = flown.from_s - anchor_s;
    const double to = flown.to_s - anchor_s;
    const T way = exp(p[kLogSpeed]) * T(to - from) - T(0.5 * (to * to - from * from)) * p[kDrag] +
                  exp(p[kLogLength]);
    residual[0] = (way - T(flown.metres)) / T(flown.sigma_m);
    return true;
  }
};

using PriorCost = ceres::AutoDiffCostFunction<PriorResidual, 1, kParameters>;
using JitterCost = ceres::AutoDiffCostFunction<JitterPrior, 2, 2>;

// The priors of single parameters. Logarithms have theirs relative to the mean.
inline std::vector<std::pair<int, Prior>> all_priors(const FlightPriors& priors, double focal_px) {
  const auto log_of = [](const Prior& p) { return Prior{std::log(p.mean), p.sigma / p.mean}; };
  return {
      {kRoll, priors.roll_rad},
      {kLogSpeed, priors.log_speed},
      {kLogLength, log_of(priors.length_m)},
      {kLogFocal, {std::log(focal_px), priors.focal_relative_sigma}},
      {kReadout, priors.readout_s},
      {kLogWave, priors.log_wave},
      {kDamping, priors.damping},
      {kRight, {0.0, priors.right_sigma_rad}},
      {kRightRate, {0.0, priors.offset_rate_sigma}},
      {kHigh, {0.0, priors.high_sigma_rad}},
      {kHighRate, {0.0, priors.offset_rate_sigma}},
      {kLift, priors.lift_m},
      {kDrag, priors.drag_mps2},
      {kFlexRightCos, {0.0, priors.flex_right_sigma_m}},
      {kFlexRightSin, {0.0, priors.flex_right_sigma_m}},
      {kFlexDownCos, {0.0, priors.flex_down_sigma_m}},
      {kFlexDownSin, {0.0, priors.flex_down_sigma_m}},
      {kFlexHz, priors.flex_hz},
      {kFlexDecay, priors.flex_decay},
      {kNockEnd, priors.nock_end_m},
      {kTipEnd, priors.tip_end_m},
      {kRearDrop, priors.rear_drop_m},
      {kNockPx, {0.0, priors.nock_bias_px}},
      {kTipPx, {0.0, priors.tip_bias_px}},
      {kMiddle, priors.middle_m},
      {kSwayRight, {0.0, priors.sway_sigma_mps2}},
      {kSwayDown, {0.0, priors.sway_sigma_mps2}},
      {kTipMass, priors.tip_mass_ratio},
  };
}

}  // namespace nocktrail::flight
