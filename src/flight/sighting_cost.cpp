#include "sighting_cost.hpp"

#include <ceres/jet.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "nocktrail/optics/camera.hpp"

namespace nocktrail::flight {
namespace {

struct Robust {
  double value;
  double slope;
};
// What hides an end makes the arrow seem shorter, never longer: where it is predicted beyond an
// end that may be hidden, the cost saturates (Geman and McClure 1985).
constexpr double kHiddenSigmas = 1.5;
Robust robust(double r, const Point& point, double robust_sigmas) {
  if (point.may_be_hidden && (point.part == Part::nock ? r < 0.0 : r > 0.0)) {
    const double q = r / kHiddenSigmas;
    const double d = 1.0 / std::sqrt(1.0 + q * q);
    return {r * d, d * d * d};
  }
  const double q = r / robust_sigmas;
  const double shaped = robust_sigmas * std::sqrt(std::log1p(q * q));
  if (shaped < 1e-9) {
    return {r, 1.0};
  }
  return {r > 0 ? shaped : -shaped, std::abs(r) / shaped / (1.0 + q * q)};
}

// When, and in which picture.
struct Instant {
  double dt_s;
  double mean_row;
  const Eigen::Vector2d& principal_px;
};

// What the frame's points have in common.
template <typename T>
struct Frame {
  ArrowState<T> state;
  Eigen::Matrix<T, 3, 1> per_row;  // metres flown while the sensor reads all its rows
};
template <typename T>
Frame<T> frame_of(const T* p, const Instant& at) {
  using std::exp;
  const T readout = p[kReadout];
  Frame<T> frame{state_at<T>(p, at.principal_px, T(at.dt_s) + readout * T(at.mean_row)), {}};
  frame.per_row = frame.state.forward * (exp(p[kLogSpeed]) * readout);
  return frame;
}

double ahead_of(const Point& point, const double* p) {
  switch (point.part) {
    case Part::nock:
      return p[kNockEnd];
    case Part::tip:
      return p[kTipEnd];
    case Part::middle:
      return p[kMiddle];
    case Part::centre:
      break;
  }
  return 0.0;
}
double bias_of(const Point& point, const double* p) {
  return point.part == Part::nock ? p[kNockPx] : (point.part == Part::tip ? p[kTipPx] : 0.0);
}
// Behind the camera is a trial step gone wild, to be rejected by its cost.
constexpr double kNearest_m = 0.05;

double residual_of(const Frame<double>& frame, const double* p, const double* jitter,
                   const Point& point, const Eigen::Vector2d& principal_px) {
  Eigen::Vector3d at =
      shaft_point(frame.state, point.share, ahead_of(point, p)) + frame.per_row * point.row;
  if (point.part == Part::nock) {
    at += frame.state.down * p[kRearDrop];
  }
  at.z() = std::max(at.z(), kNearest_m);
  const Eigen::Vector2d seen = optics::project<double>(std::exp(p[kLogFocal]), principal_px, at);
  const Eigen::Vector2d shift(jitter[0], jitter[1]);
  return ((seen + shift - point.observed_px).dot(point.direction) + bias_of(point, p)) /
         point.sigma_px;
}

using Jet = ceres::Jet<double, kParameters>;
using Gradient = Eigen::Matrix<double, 1, kParameters>;
struct WithGradient {
  double value = 0.0;
  Gradient gradient = Gradient::Zero();
};
// The frame's state is differentiated automatically, once; what follows for each point, the
// pinhole and the shaft (shaft_point), by hand: a third of the time.
WithGradient residual_with_gradient(const Frame<Jet>& frame, const double* const* parameters,
                                    const Point& point, const Eigen::Vector2d& principal_px) {
  const double* p = parameters[0];
  const ArrowState<Jet>& state = frame.state;
  const auto value_of_each = [](const Eigen::Matrix<Jet, 3, 1>& v) {
    return Eigen::Vector3d(v.x().a, v.y().a, v.z().a);
  };
  const Eigen::Vector3d axis = value_of_each(state.axis);
  const Eigen::Vector3d right = value_of_each(state.right);
  const Eigen::Vector3d down = value_of_each(state.down);
  const ShapeAt shape = shape_at(point.share, state.tip_mass_ratio.a);
  const double from_balance = point.share - state.balance.a;
  const double along = from_balance * state.length_m.a + ahead_of(point, p);
  const double to_right = state.flex_right_m.a * shape.value;
  const double to_down =
      state.flex_down_m.a * shape.value + (point.part == Part::nock ? p[kRearDrop] : 0.0);
  Eigen::Vector3d at = value_of_each(state.centre_m) + axis * along + right * to_right +
                       down * to_down + value_of_each(frame.per_row) * point.row;
  const bool behind = at.z() < kNearest_m;
  at.z() = std::max(at.z(), kNearest_m);
  const double focal = std::exp(p[kLogFocal]);
  const Eigen::Vector2d from_middle = focal * at.head<2>() / at.z();
  const Eigen::Vector2d seen =
      principal_px + from_middle + Eigen::Vector2d(parameters[1][0], parameters[1][1]);
  WithGradient residual;
  residual.value =
      ((seen - point.observed_px).dot(point.direction) + bias_of(point, p)) / point.sigma_px;

  // Of the residual, with respect to the place of the point.
  const Eigen::Vector2d direction = point.direction / point.sigma_px;
  Eigen::Vector3d by_place;
  by_place << direction * (focal / at.z()), -direction.dot(from_middle) / at.z();
  if (behind) {
    by_place.z() = 0.0;
  }
  for (int d = 0; d < 3; ++d) {
    residual.gradient +=
        by_place[d] * (state.centre_m[d].v + along * state.axis[d].v + to_right * state.right[d].v +
                       to_down * state.down[d].v + point.row * frame.per_row[d].v)
                          .transpose();
  }
  const double by_axis = by_place.dot(axis);
  const double by_right = by_place.dot(right);
  const double by_down = by_place.dot(down);
  residual.gradient +=
      ((shape.value * by_right) * state.flex_right_m.v +
       (shape.value * by_down) * state.flex_down_m.v + (by_axis * from_balance) * state.length_m.v -
       (by_axis * state.length_m.a) * state.balance.v)
          .transpose();
  residual.gradient[kTipMass] +=
      shape.slope * (by_right * state.flex_right_m.a + by_down * state.flex_down_m.a);
  residual.gradient[kLogFocal] += direction.dot(from_middle);
  if (point.part == Part::nock) {
    residual.gradient[kNockEnd] += by_axis;
    residual.gradient[kRearDrop] += by_down;
    residual.gradient[kNockPx] += 1.0 / point.sigma_px;
  } else if (point.part == Part::tip) {
    residual.gradient[kTipEnd] += by_axis;
    residual.gradient[kTipPx] += 1.0 / point.sigma_px;
  } else if (point.part == Part::middle) {
    residual.gradient[kMiddle] += by_axis;
  }
  return residual;
}

}  // namespace

SightingCost::SightingCost(std::vector<Point> points, double dt_s, double mean_row,
                           const Eigen::Vector2d& principal_px, double robust_sigmas)
    : points_(std::move(points)),
      dt_s_(dt_s),
      mean_row_(mean_row),
      principal_px_(principal_px),
      robust_(robust_sigmas) {
  set_num_residuals(static_cast<int>(points_.size()));
  *mutable_parameter_block_sizes() = {kParameters, 2};
}

bool SightingCost::Evaluate(const double* const* parameters, double* residuals,
                            double** jacobians) const {
  if (jacobians == nullptr) {
    const std::vector<double> values = raw(parameters[0], parameters[1]);
    for (std::size_t i = 0; i < points_.size(); ++i) {
      residuals[i] = robust(values[i], points_[i], robust_).value;
    }
    return true;
  }
  std::array<Jet, kParameters> p;
  for (int i = 0; i < kParameters; ++i) {
    p[static_cast<std::size_t>(i)] = Jet(parameters[0][i], i);
  }
  const Frame<Jet> frame = frame_of<Jet>(p.data(), {dt_s_, mean_row_, principal_px_});
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const auto [value, gradient] =
        residual_with_gradient(frame, parameters, points_[i], principal_px_);
    const Robust shaped = robust(value, points_[i], robust_);
    residuals[i] = shaped.value;
    if (jacobians[0] != nullptr) {
      Eigen::Map<Gradient>(jacobians[0] + static_cast<std::ptrdiff_t>(i) * kParameters) =
          shaped.slope * gradient;
    }
    if (jacobians[1] != nullptr) {
      const Eigen::Vector2d slope = (shaped.slope / points_[i].sigma_px) * points_[i].direction;
      jacobians[1][2 * i] = slope.x();
      jacobians[1][2 * i + 1] = slope.y();
    }
  }
  return true;
}

std::vector<double> SightingCost::raw(const double* parameters, const double* jitter) const {
  const Frame<double> frame = frame_of<double>(parameters, {dt_s_, mean_row_, principal_px_});
  std::vector<double> values;
  values.reserve(points_.size());
  for (const Point& point : points_) {
    values.push_back(residual_of(frame, parameters, jitter, point, principal_px_));
  }
  return values;
}

}  // namespace nocktrail::flight
