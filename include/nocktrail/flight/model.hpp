// The 3-D model of an arrow in free flight and its projection, for doubles and for automatic
// differentiation.
//
// Frame. The camera frame (X right, Y down, Z along the view) holds the flight basis (right, down,
// forward): forward is the velocity of the centre of mass at the anchor time, down is the plumb
// line as the roll parameter has it, made square to forward, right = down x forward. Nothing
// observable changes when the whole basis is turned about the plumb line, and the elevation of the
// flight enters only through the cosine of a few degrees; both are left out.
//
// Motion. x is the distance flown since the anchor, dt the time. The centre of mass falls with g,
// loses speed at a constant rate, and is pushed sideways by the lift of a yawed arrow. The nock's
// offset follows the linearised yaw equation (McCoy, Modern Exterior Ballistics; textbook form)
//     a'' + 2 zeta kappa a' + kappa^2 a = 0,   kappa = 2 pi / wavelength,
// in both planes with one wavelength and damping. Lift: the tail force that turns the arrow back
// also accelerates it, toward the side to which the point is turned, by eta kappa^2 v^2 a with
// eta = I / (m x_tail), about 0.18 m if all of it acts on the tail and 0 for a pure couple.
// The hands that hold the camera sway: a constant acceleration past it, square to the flight.
// The first bending mode q(t) phi(s) is mass-orthogonal to translation and rotation, so that the
// axis is the rigid-body axis (docs/measurement.md).
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "nocktrail/optics/camera.hpp"

namespace nocktrail::flight {

enum Parameter : int {
  kVanishX,  // velocity direction at the anchor: its vanishing point, px
  kVanishY,
  kRoll,     // camera roll, rad: plumb line in the picture is (sin roll, cos roll)
  kCentreX,  // where the centre of mass is seen at the anchor, px
  kCentreY,
  kLogDepth,      // log of its camera depth at the anchor, m
  kLogSpeed,      // log of the speed at the anchor, m/s
  kLogLength,     // log of nock throat to end of point, m
  kLogFocal,      // log of the focal length, px
  kReadout,       // time to read all sensor rows, s
  kLogWave,       // log of the yaw wavelength, m
  kDamping,       // zeta
  kRight,         // nock_right at the anchor, rad
  kRightRate,     // rad per m
  kHigh,          // nock_high at the anchor, rad
  kHighRate,      // rad per m
  kLift,          // eta, m
  kDrag,          // loss of speed, m/s^2
  kFlexRightCos,  // bending at the nock end at the anchor, m, toward right and down
  kFlexRightSin,
  kFlexDownCos,
  kFlexDownSin,
  kFlexHz,
  kFlexDecay,  // 1/s
  kNockEnd,    // where the visible rear end lies ahead of the throat, m
  kTipEnd,     // where the visible front end lies ahead of the point's end, m
  kRearDrop,   // how far below the axis the visible rear end lies (a vane that points down), m
  kNockPx,     // error of the rear end that is the same in all frames, px toward the tip
  kTipPx,      // error of the front end that is the same in all frames, px onward
  kMiddle,     // where the middle of a far arrow's picture lies ahead of half its length, m
  kSwayRight,  // the world's acceleration past the hand-held camera, m/s^2
  kSwayDown,
  kTipMass,  // point mass over shaft mass: sets where the arrow balances and how it bends
  kParameters
};

using Parameters = Eigen::Matrix<double, kParameters, 1>;

inline constexpr double kGravity = 9.80665;  // m/s^2, standard gravity (ISO 80000-3)

// Where the nock leaves the string, behind the rest (docs/measurement.md: about 0.17 m).
inline constexpr double kBraceHeightM = 0.17;

inline constexpr double kNockMassRatio = 0.03;

// First free-free bending mode of a uniform beam with a point mass at the nock of kNockMassRatio
// and at the tip of tip_mass_ratio of its own mass, 1 at the nock end; s is 0 at the nock, 1 at the
// tip. (Blevins, Formulas for Natural Frequency and Mode Shape, end conditions with masses.)
double bending_shape(double s, double tip_mass_ratio);

// Centre of mass from the nock throat, share of the length: uniform shaft, point masses at its
// ends.
template <typename T>
T balance_of(const T& tip_mass_ratio) {
  return (T(0.5) + tip_mass_ratio) / (T(1.0 + kNockMassRatio) + tip_mass_ratio);
}

// The offset of one plane and its integrals over the distance flown.
template <typename T>
struct Yaw {
  T value;            // rad
  T rate;             // rad/m
  T kappa2_integral;  // kappa^2 * integral of value over x, 1/m * rad
  T kappa2_twice;     // kappa^2 * double integral, rad
};

template <typename T>
Yaw<T> yaw_at(const T& a0, const T& b0, const T& kappa, const T& zeta, const T& x) {
  using std::cos;
  using std::exp;
  using std::sin;
  using std::sqrt;
  const T damped = kappa * sqrt(T(1) - zeta * zeta);
  const T fade = exp(-zeta * kappa * x);
  const T c = cos(damped * x);
  const T s = sin(damped * x);
  Yaw<T> yaw;
  yaw.value = fade * (a0 * c + (b0 + zeta * kappa * a0) / damped * s);
  yaw.rate = fade * (b0 * c - (kappa * kappa * a0 + zeta * kappa * b0) / damped * s);
  // From the equation itself: kappa^2 a = -a'' - 2 zeta kappa a'.
  yaw.kappa2_integral = -(yaw.rate - b0) - T(2) * zeta * kappa * (yaw.value - a0);
  const T integral = yaw.kappa2_integral / (kappa * kappa);
  yaw.kappa2_twice = -(yaw.value - a0 - b0 * x) - T(2) * zeta * kappa * (integral - a0 * x);
  return yaw;
}

// The arrow at one instant, in the camera frame.
template <typename T>
struct ArrowState {
  Eigen::Matrix<T, 3, 1> centre_m;  // centre of mass
  Eigen::Matrix<T, 3, 1> axis;      // unit, nock to point
  Eigen::Matrix<T, 3, 1> right;     // flight basis
  Eigen::Matrix<T, 3, 1> down;
  Eigen::Matrix<T, 3, 1> forward;
  T flown_m;       // since the anchor
  T flex_right_m;  // at the nock end
  T flex_down_m;
  T nock_right_rad;
  T nock_high_rad;
  T right_rate;  // rad/m
  T high_rate;
  T length_m;
  T balance;
  T tip_mass_ratio;
};

// The flight at the anchor, from wherever it is seen: what the parameters of either view come to.
template <typename T>
struct Launch {
  Eigen::Matrix<T, 3, 1> forward;   // unit, camera frame
  Eigen::Matrix<T, 3, 1> plumb;     // unit, not along the flight
  Eigen::Matrix<T, 3, 1> centre_m;  // centre of mass
  T speed;                          // m/s
  T length_m;
  T log_wave;
  T damping;
  T right, right_rate, high, high_rate;  // rad, rad per m
  T lift;
  T drag;
  T flex_right_cos, flex_right_sin, flex_down_cos, flex_down_sin;
  T flex_hz, flex_decay;
  T sway_right, sway_down;
  T tip_mass_ratio;
};

template <typename T>
ArrowState<T> state_from(const Launch<T>& launch, const T& dt) {
  using std::cos;
  using std::exp;
  using std::sin;
  ArrowState<T> state;
  state.forward = launch.forward;
  state.down = (launch.plumb - state.forward * launch.plumb.dot(state.forward)).normalized();
  state.right = state.down.cross(state.forward);

  const T x = launch.speed * dt - T(0.5) * launch.drag * dt * dt;
  state.flown_m = x;
  const T kappa = T(2.0 * std::numbers::pi) * exp(-launch.log_wave);
  const Yaw<T> right = yaw_at(launch.right, launch.right_rate, kappa, launch.damping, x);
  const Yaw<T> high = yaw_at(launch.high, launch.high_rate, kappa, launch.damping, x);
  state.nock_right_rad = right.value;
  state.nock_high_rad = high.value;
  state.right_rate = right.rate;
  state.high_rate = high.rate;

  const T across = -launch.lift * right.kappa2_twice;
  const T drop = T(0.5 * kGravity) * dt * dt + launch.lift * high.kappa2_twice;
  const T half_square = T(0.5) * dt * dt;
  state.centre_m = launch.centre_m + state.forward * x +
                   state.right * (across + launch.sway_right * half_square) +
                   state.down * (drop + launch.sway_down * half_square);

  // Direction of flight relative to the basis: small angles, tangent and angle alike to 1e-5.
  const T azimuth = -launch.lift * right.kappa2_integral - right.value;
  const T elevation =
      -(T(kGravity) * dt / launch.speed + launch.lift * high.kappa2_integral) - high.value;
  state.axis = state.right * (sin(azimuth) * cos(elevation)) - state.down * sin(elevation) +
               state.forward * (cos(azimuth) * cos(elevation));

  const T fade = exp(-launch.flex_decay * dt);
  const T phase = T(2.0 * std::numbers::pi) * launch.flex_hz * dt;
  const T c = cos(phase);
  const T s = sin(phase);
  state.flex_right_m = fade * (launch.flex_right_cos * c + launch.flex_right_sin * s);
  state.flex_down_m = fade * (launch.flex_down_cos * c + launch.flex_down_sin * s);
  state.length_m = launch.length_m;
  state.tip_mass_ratio = launch.tip_mass_ratio;
  state.balance = balance_of(launch.tip_mass_ratio);
  return state;
}

template <typename T>
ArrowState<T> state_at(const T* p, const Eigen::Vector2d& principal_px, const T& dt) {
  using std::cos;
  using std::exp;
  using std::sin;
  using Vector2 = Eigen::Matrix<T, 2, 1>;
  const T focal = exp(p[kLogFocal]);
  Launch<T> launch;
  launch.forward =
      optics::ray<T>(focal, principal_px, Vector2(p[kVanishX], p[kVanishY])).normalized();
  launch.plumb = {sin(p[kRoll]), cos(p[kRoll]), T(0)};
  launch.centre_m =
      optics::ray<T>(focal, principal_px, Vector2(p[kCentreX], p[kCentreY])) * exp(p[kLogDepth]);
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
  launch.flex_right_cos = p[kFlexRightCos];
  launch.flex_right_sin = p[kFlexRightSin];
  launch.flex_down_cos = p[kFlexDownCos];
  launch.flex_down_sin = p[kFlexDownSin];
  launch.flex_hz = p[kFlexHz];
  launch.flex_decay = p[kFlexDecay];
  launch.sway_right = p[kSwayRight];
  launch.sway_down = p[kSwayDown];
  launch.tip_mass_ratio = p[kTipMass];
  return state_from(launch, dt);
}

// The bending shape at share s, linear between two ratios of the grid, and how it grows with the
// tip's mass ratio.
struct ShapeAt {
  double value = 0.0;
  double slope = 0.0;
};
ShapeAt shape_at(double s, double tip_mass_ratio);

// The point of the bent shaft at share s of the length from the nock, moved `ahead_m` along the
// axis; camera frame, metres.
inline Eigen::Vector3d shaft_point(const ArrowState<double>& state, double s, double ahead_m) {
  const double shape = shape_at(s, state.tip_mass_ratio).value;
  return state.centre_m + state.axis * ((s - state.balance) * state.length_m + ahead_m) +
         state.right * (state.flex_right_m * shape) + state.down * (state.flex_down_m * shape);
}

}  // namespace nocktrail::flight
