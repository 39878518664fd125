#include "nocktrail/flight/fit.hpp"

#include <ceres/ceres.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <future>
#include <memory>

namespace nocktrail::flight {
namespace {

// One observation: the component along `direction` of (seen - observed), in sigmas.
struct Point {
  Eigen::Vector2d observed_px;
  Eigen::Vector2d direction;
  double sigma_px = 1.0;
  double share = 0.0;  // along the shaft from the nock
  int end = 0;         // 0 a centre point, 1 the nock end, 2 the tip end, 3 the middle
  double row = 0.0;    // readout share relative to the frame's mean
  bool may_be_hidden = false;
};

// All observations of one frame: the state is worked out once for all of them. Each residual r is
// passed through c sqrt(log(1 + r^2/c^2)) with its sign, so that the sum of squares is Cauchy's
// robust cost.
class SightingCost : public ceres::CostFunction {
 public:
  SightingCost(std::vector<Point> points, double dt_s, double mean_row,
               const Eigen::Vector2d& principal_px, double robust_sigmas)
      : points_(std::move(points)),
        dt_s_(dt_s),
        mean_row_(mean_row),
        principal_px_(principal_px),
        robust_(robust_sigmas) {
    set_num_residuals(static_cast<int>(points_.size()));
    *mutable_parameter_block_sizes() = {kParameters, 2};
  }

  bool Evaluate(const double* const* parameters, double* residuals,
                double** jacobians) const override {
    if (jacobians == nullptr) {
      residuals_of(parameters[0], parameters[1],
                   [&](std::size_t i, double r) { residuals[i] = robust(r, points_[i]).value; });
      return true;
    }
    using Jet = ceres::Jet<double, kParameters>;
    std::array<Jet, kParameters> p;
    for (int i = 0; i < kParameters; ++i) {
      p[static_cast<std::size_t>(i)] = Jet(parameters[0][i], i);
    }
    const Frame<Jet> frame = frame_of<Jet>(p.data());
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const auto [value, gradient] = residual_with_gradient(frame, parameters, points_[i]);
      const Robust shaped = robust(value, points_[i]);
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

  const std::vector<Point>& points() const { return points_; }

  // Unshaped residuals in sigmas.
  std::vector<double> raw(const double* parameters, const double* jitter) const {
    std::vector<double> values(points_.size(), 0.0);
    residuals_of(parameters, jitter, [&](std::size_t i, double r) { values[i] = r; });
    return values;
  }

 private:
  struct Robust {
    double value;
    double slope;
  };
  // What hides an end makes the arrow seem shorter, never longer: where it is predicted beyond an
  // end that may be hidden, the cost saturates (Geman and McClure 1985).
  static constexpr double kHiddenSigmas = 1.5;
  Robust robust(double r, const Point& point) const {
    if (point.may_be_hidden && (point.end == 1 ? r < 0.0 : r > 0.0)) {
      const double q = r / kHiddenSigmas;
      const double d = 1.0 / std::sqrt(1.0 + q * q);
      return {r * d, d * d * d};
    }
    const double q = r / robust_;
    const double shaped = robust_ * std::sqrt(std::log1p(q * q));
    if (shaped < 1e-9) {
      return {r, 1.0};
    }
    return {r > 0 ? shaped : -shaped, std::abs(r) / shaped / (1.0 + q * q)};
  }

  // What the frame's points have in common.
  template <typename T>
  struct Frame {
    ArrowState<T> state;
    Eigen::Matrix<T, 3, 1> per_row;  // metres flown while the sensor reads all its rows
  };
  template <typename T>
  Frame<T> frame_of(const T* p) const {
    using std::exp;
    const T readout = p[kReadout];
    Frame<T> frame{state_at<T>(p, principal_px_, T(dt_s_) + readout * T(mean_row_)), {}};
    frame.per_row = frame.state.forward * (exp(p[kLogSpeed]) * readout);
    return frame;
  }

  static double ahead_of(const Point& point, const double* p) {
    switch (point.end) {
      case 1:
        return p[kNockEnd];
      case 2:
        return p[kTipEnd];
      case 3:
        return p[kMiddle];
      default:
        return 0.0;
    }
  }
  static double bias_of(const Point& point, const double* p) {
    return point.end == 1 ? p[kNockPx] : (point.end == 2 ? p[kTipPx] : 0.0);
  }
  // Behind the camera is a trial step gone wild, to be rejected by its cost.
  static constexpr double kNearest_m = 0.05;

  template <typename Sink>
  void residuals_of(const double* p, const double* jitter, const Sink& sink) const {
    const Frame<double> frame = frame_of<double>(p);
    const Eigen::Vector2d shift(jitter[0], jitter[1]);
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const Point& point = points_[i];
      Eigen::Vector3d at =
          shaft_point(frame.state, point.share, ahead_of(point, p)) + frame.per_row * point.row;
      if (point.end == 1) {
        at += frame.state.down * p[kRearDrop];
      }
      at.z() = std::max(at.z(), kNearest_m);
      const Eigen::Vector2d seen =
          optics::project<double>(std::exp(p[kLogFocal]), principal_px_, at);
      sink(i, ((seen + shift - point.observed_px).dot(point.direction) + bias_of(point, p)) /
                  point.sigma_px);
    }
  }

  using Gradient = Eigen::Matrix<double, 1, kParameters>;
  struct WithGradient {
    double value = 0.0;
    Gradient gradient = Gradient::Zero();
  };
  // The frame's state is differentiated automatically, once; what follows for each point, the
  // pinhole and the shaft (shaft_point), by hand: a third of the time.
  template <typename Jet>
  WithGradient residual_with_gradient(const Frame<Jet>& frame, const double* const* parameters,
                                      const Point& point) const {
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
        state.flex_down_m.a * shape.value + (point.end == 1 ? p[kRearDrop] : 0.0);
    Eigen::Vector3d at = value_of_each(state.centre_m) + axis * along + right * to_right +
                         down * to_down + value_of_each(frame.per_row) * point.row;
    const bool behind = at.z() < kNearest_m;
    at.z() = std::max(at.z(), kNearest_m);
    const double focal = std::exp(p[kLogFocal]);
    const Eigen::Vector2d from_middle = focal * at.head<2>() / at.z();
    const Eigen::Vector2d seen =
        principal_px_ + from_middle + Eigen::Vector2d(parameters[1][0], parameters[1][1]);
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
      residual.gradient += by_place[d] * (state.centre_m[d].v + along * state.axis[d].v +
                                          to_right * state.right[d].v + to_down * state.down[d].v +
                                          point.row * frame.per_row[d].v)
                                             .transpose();
    }
    const double by_axis = by_place.dot(axis);
    const double by_right = by_place.dot(right);
    const double by_down = by_place.dot(down);
    residual.gradient += ((shape.value * by_right) * state.flex_right_m.v +
                          (shape.value * by_down) * state.flex_down_m.v +
                          (by_axis * from_balance) * state.length_m.v -
                          (by_axis * state.length_m.a) * state.balance.v)
                             .transpose();
    residual.gradient[kTipMass] +=
        shape.slope * (by_right * state.flex_right_m.a + by_down * state.flex_down_m.a);
    residual.gradient[kLogFocal] += direction.dot(from_middle);
    if (point.end == 1) {
      residual.gradient[kNockEnd] += by_axis;
      residual.gradient[kRearDrop] += by_down;
      residual.gradient[kNockPx] += 1.0 / point.sigma_px;
    } else if (point.end == 2) {
      residual.gradient[kTipEnd] += by_axis;
      residual.gradient[kTipPx] += 1.0 / point.sigma_px;
    } else if (point.end == 3) {
      residual.gradient[kMiddle] += by_axis;
    }
    return residual;
  }

  std::vector<Point> points_;
  double dt_s_;
  double mean_row_;
  Eigen::Vector2d principal_px_;
  double robust_;
};

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

using PriorCost = ceres::AutoDiffCostFunction<PriorResidual, 1, kParameters>;
using JitterCost = ceres::AutoDiffCostFunction<JitterPrior, 2, 2>;

std::vector<std::pair<int, Prior>> all_priors(const FlightPriors& priors, double focal_px) {
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
      {kFlexRightCos, {0.0, priors.flex_sigma_m}},
      {kFlexRightSin, {0.0, priors.flex_sigma_m}},
      {kFlexDownCos, {0.0, priors.flex_sigma_m}},
      {kFlexDownSin, {0.0, priors.flex_sigma_m}},
      {kFlexHz, priors.flex_hz},
      {kFlexDecay, priors.flex_decay},
      {kNockEnd, priors.nock_end_m},
      {kTipEnd, priors.tip_end_m},
      {kRearDrop, priors.rear_drop_m},
      {kNockPx, {0.0, priors.end_bias_px}},
      {kTipPx, {0.0, priors.end_bias_px}},
      {kMiddle, priors.middle_m},
      {kSwayRight, {0.0, priors.sway_sigma_mps2}},
      {kSwayDown, {0.0, priors.sway_sigma_mps2}},
      {kTipMass, priors.tip_mass_ratio},
  };
}

Eigen::Vector2d seen_px_of(const Parameters& p, const Eigen::Vector2d& principal_px, double dt,
                           double s) {
  const ArrowState<double> state = state_at<double>(p.data(), principal_px, dt);
  const double ahead = s <= 0.0 ? p[kNockEnd] : (s >= 1.0 ? p[kTipEnd] : 0.0);
  return optics::project<double>(std::exp(p[kLogFocal]), principal_px,
                                 shaft_point(state, s, ahead));
}

// The share of the shaft nearest to a pixel, by bisection on the component along the shaft.
double share_at(const Parameters& p, const Eigen::Vector2d& principal_px, double dt,
                const Eigen::Vector2d& pixel, const Eigen::Vector2d& tangent) {
  double low = -0.3;
  double high = 1.3;
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (low + high);
    if ((pixel - seen_px_of(p, principal_px, dt, middle)).dot(tangent) > 0.0) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return 0.5 * (low + high);
}

struct Scatter {
  double centre = 1.0;
  double end = 1.0;
  double middle = 1.0;
};

double robust_scale(std::vector<double> magnitudes) {
  if (magnitudes.size() < 6) {
    return 1.0;
  }
  const auto middle = magnitudes.begin() + static_cast<std::ptrdiff_t>(magnitudes.size() / 2);
  std::nth_element(magnitudes.begin(), middle, magnitudes.end());
  return *middle / 0.6745;
}

// One solve with fixed linearisation of shares and directions.
class Problem {
 public:
  Problem(const std::vector<track::ArrowSighting>& sightings, const Parameters& start,
          double anchor_s, double focal_px, const Eigen::Vector2d& principal_px,
          const FitOptions& options, const Scatter& scatter)
      : parameters_(start) {
    jitter_.assign(sightings.size() * 2, 0.0);
    for (std::size_t k = 0; k < sightings.size(); ++k) {
      add_sighting(sightings[k], k, anchor_s, principal_px, options, scatter);
      problem_.AddResidualBlock(new JitterCost(new JitterPrior{options.frame_jitter_px}), nullptr,
                                &jitter_[2 * k]);
    }
    FlightPriors priors = options.priors;
    if (options.coarse) {
      priors.flex_sigma_m = 0.001;
    }
    for (const auto& [index, prior] : all_priors(priors, focal_px)) {
      problem_.AddResidualBlock(new PriorCost(new PriorResidual{index, prior}), nullptr,
                                parameters_.data());
    }
    problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<CameraAbove, 1, kParameters>(
                                  new CameraAbove{principal_px, priors.camera_above_m}),
                              nullptr, parameters_.data());
    if (options.exit_s) {
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<CameraBehind, 1, kParameters>(
              new CameraBehind{principal_px, priors.camera_behind_m, *options.exit_s - anchor_s,
                               options.exit_sigma_s}),
          nullptr, parameters_.data());
    }
    problem_.SetParameterLowerBound(parameters_.data(), kDamping, 0.0);
    problem_.SetParameterUpperBound(parameters_.data(), kDamping, 0.5);
    problem_.SetParameterLowerBound(parameters_.data(), kTipMass, 0.02);
    problem_.SetParameterUpperBound(parameters_.data(), kTipMass, 1.1);
    problem_.SetParameterLowerBound(parameters_.data(), kLogWave, std::log(4.0));
    problem_.SetParameterUpperBound(parameters_.data(), kLogWave, std::log(150.0));
  }

  bool solve(int max_iterations) {
    ceres::Solver::Options solver;
    // Each frame's shift meets the others only through the flight's parameters: eliminated first,
    // the normal equations shrink to those.
    solver.linear_solver_type = ceres::DENSE_SCHUR;
    solver.linear_solver_ordering = std::make_shared<ceres::ParameterBlockOrdering>();
    for (std::size_t k = 0; k < jitter_.size(); k += 2) {
      solver.linear_solver_ordering->AddElementToGroup(&jitter_[k], 0);
    }
    solver.linear_solver_ordering->AddElementToGroup(parameters_.data(), 1);
    solver.max_num_iterations = max_iterations;
    solver.logging_type = ceres::SILENT;
    solver.num_threads = 1;
    solver.function_tolerance = 1e-7;
    ceres::Solver::Summary summary;
    ceres::Solve(solver, &problem_, &summary);
    cost_ = summary.final_cost;
    return summary.IsSolutionUsable() && parameters_.allFinite();
  }

  const Parameters& parameters() const { return parameters_; }
  double cost() const { return cost_; }

  // Robustly weighted normal equations at the solution, inverted, jitter marginalised.
  Eigen::MatrixXd covariance() {
    ceres::Problem::EvaluateOptions evaluate;
    evaluate.apply_loss_function = true;
    evaluate.parameter_blocks.push_back(parameters_.data());
    for (std::size_t k = 0; k < jitter_.size(); k += 2) {
      if (problem_.HasParameterBlock(&jitter_[k])) {
        evaluate.parameter_blocks.push_back(&jitter_[k]);
      }
    }
    ceres::CRSMatrix sparse;
    double cost = 0.0;
    problem_.Evaluate(evaluate, &cost, nullptr, nullptr, &sparse);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(sparse.num_cols, sparse.num_cols);
    for (int row = 0; row < sparse.num_rows; ++row) {
      const int begin = sparse.rows[static_cast<std::size_t>(row)];
      const int end = sparse.rows[static_cast<std::size_t>(row) + 1];
      for (int i = begin; i < end; ++i) {
        for (int j = begin; j < end; ++j) {
          normal(sparse.cols[static_cast<std::size_t>(i)],
                 sparse.cols[static_cast<std::size_t>(j)]) +=
              sparse.values[static_cast<std::size_t>(i)] *
              sparse.values[static_cast<std::size_t>(j)];
        }
      }
    }
    // Scaled so that parameters of very different units do not spoil the inverse.
    const Eigen::VectorXd scale = normal.diagonal().cwiseMax(1e-12).cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
    const Eigen::MatrixXd inverse = scaled.completeOrthogonalDecomposition().pseudoInverse();
    return (scale.asDiagonal() * inverse * scale.asDiagonal())
        .topLeftCorner(kParameters, kParameters);
  }

  // Raw residuals by kind (0 centre, 1 nock, 2 tip), with their sighting.
  struct Raw {
    std::size_t sighting;
    int kind;
    double value;
  };
  std::vector<Raw> raw() const {
    std::vector<Raw> values;
    for (std::size_t k = 0; k < costs_.size(); ++k) {
      const std::vector<double> residuals = costs_[k]->raw(parameters_.data(), &jitter_[2 * k]);
      for (std::size_t i = 0; i < residuals.size(); ++i) {
        values.push_back({k, costs_[k]->points()[i].end, residuals[i]});
      }
    }
    return values;
  }

 private:
  void add_sighting(const track::ArrowSighting& sighting, std::size_t k, double anchor_s,
                    const Eigen::Vector2d& principal_px, const FitOptions& options,
                    const Scatter& scatter) {
    const double dt = sighting.t_s - anchor_s;
    const Eigen::Vector2d nock = seen_px_of(parameters_, principal_px, dt, 0.0);
    const Eigen::Vector2d tip = seen_px_of(parameters_, principal_px, dt, 1.0);
    const Eigen::Vector2d tangent = (tip - nock).normalized();
    std::vector<Point> points;
    for (const track::CentrePoint& point : sighting.centre) {
      const double share = share_at(parameters_, principal_px, dt, point.at_px, tangent);
      const Eigen::Vector2d ahead = seen_px_of(parameters_, principal_px, dt, share + 0.05);
      const Eigen::Vector2d behind = seen_px_of(parameters_, principal_px, dt, share - 0.05);
      const Eigen::Vector2d local = (ahead - behind).normalized();
      points.push_back(
          {point.at_px, {-local.y(), local.x()}, point.sigma_px * scatter.centre, share, 0, 0.0});
    }
    if (sighting.nock) {
      points.push_back({sighting.nock->at_px, tangent, sighting.nock->sigma_px * scatter.end, 0.0,
                        1, 0.0, sighting.nock->may_be_hidden});
    }
    if (sighting.tip) {
      points.push_back({sighting.tip->at_px, tangent, sighting.tip->sigma_px * scatter.end, 1.0, 2,
                        0.0, sighting.tip->may_be_hidden});
    }
    if (sighting.middle) {
      points.push_back({sighting.middle->at_px, tangent, sighting.middle->sigma_px * scatter.middle,
                        0.5, 3, 0.0, false});
    }
    double mean_row = 0.0;
    for (Point& point : points) {
      point.row = options.readout_per_px.dot(point.observed_px - principal_px);
      mean_row += point.row / static_cast<double>(points.size());
    }
    for (Point& point : points) {
      point.row -= mean_row;
    }
    auto* cost = new SightingCost(std::move(points), dt, mean_row, principal_px,
                                  options.coarse ? 1.5 : options.robust_sigmas);
    problem_.AddResidualBlock(cost, nullptr, parameters_.data(), &jitter_[2 * k]);
    costs_.push_back(cost);
  }

  Parameters parameters_;
  std::vector<double> jitter_;
  ceres::Problem problem_;
  std::vector<SightingCost*> costs_;  // owned by problem_
  double cost_ = 0.0;
};

// job(item) for each item, the answers in the items' order.
template <typename Answer, typename Item, typename Job>
std::vector<Answer> on_both_cores(const std::vector<Item>& items, const Job& job) {
  std::vector<std::future<Answer>> pending;
  pending.reserve(items.size());
  for (const Item& item : items) {
    pending.push_back(std::async(std::launch::async, [&job, &item] { return job(item); }));
  }
  std::vector<Answer> answers;
  answers.reserve(items.size());
  for (auto& one : pending) {
    answers.push_back(one.get());
  }
  return answers;
}

}  // namespace

FlightFit fit_flight(const std::vector<track::ArrowSighting>& sightings, const Parameters& start,
                     double anchor_s, double focal_px, const Eigen::Vector2d& principal_px,
                     const FitOptions& options) {
  FlightFit fit;
  fit.anchor_s = anchor_s;
  fit.principal_px = principal_px;
  fit.parameters = start;
  Scatter scatter;
  const int rounds = options.coarse ? 2 : 4;
  std::unique_ptr<Problem> problem;
  for (int round = 0; round < rounds; ++round) {
    problem = std::make_unique<Problem>(sightings, fit.parameters, anchor_s, focal_px, principal_px,
                                        options, scatter);
    if (!problem->solve(options.max_iterations)) {
      return fit;
    }
    fit.parameters = problem->parameters();
    fit.cost = problem->cost();
    if (!options.coarse && !options.fixed_scatter && round + 1 < rounds) {
      std::vector<double> centre;
      std::vector<double> ends;
      std::vector<double> middles;
      for (const auto& raw : problem->raw()) {
        (raw.kind == 0 ? centre : (raw.kind == 3 ? middles : ends)).push_back(std::abs(raw.value));
      }
      // Never below what was assumed: neighbouring frames share their background and so their
      // errors, which makes them agree with each other better than with the truth.
      scatter.centre = std::max(1.0, scatter.centre * robust_scale(centre));
      scatter.end = std::max(1.0, scatter.end * robust_scale(ends));
      scatter.middle = std::max(1.0, scatter.middle * robust_scale(middles));
    }
  }
  fit.converged = true;
  fit.centre_scale = scatter.centre;
  fit.end_scale = scatter.end;
  fit.middle_scale = scatter.middle;
  fit.frames = static_cast<int>(sightings.size());
  fit.residuals.resize(sightings.size());
  std::vector<int> counts(sightings.size(), 0);
  for (std::size_t k = 0; k < sightings.size(); ++k) {
    fit.residuals[k].frame = sightings[k].frame;
  }
  for (const auto& raw : problem->raw()) {
    FrameResidual& residual = fit.residuals[raw.sighting];
    if (raw.kind == 0) {
      residual.centre_rms += raw.value * raw.value;
      ++counts[raw.sighting];
      ++fit.centre_points;
    } else if (raw.kind == 3) {
      residual.middle = raw.value;
      ++fit.middles;
    } else {
      (raw.kind == 1 ? residual.nock : residual.tip) = raw.value;
      ++fit.ends;
    }
  }
  for (std::size_t k = 0; k < sightings.size(); ++k) {
    if (counts[k] > 0) {
      fit.residuals[k].centre_rms = std::sqrt(fit.residuals[k].centre_rms / counts[k]);
    }
  }
  fit.covariance = problem->covariance();
  return fit;
}

FlightFit fit_flight_from_several(const std::vector<track::ArrowSighting>& sightings,
                                  const Parameters& start, Spread spread, double anchor_s,
                                  double focal_px, const Eigen::Vector2d& principal_px,
                                  const FitOptions& options) {
  std::vector<Parameters> starts;
  switch (spread) {
    case Spread::pitch:
      for (const double high_rad : {0.0, -0.06, 0.06}) {
        starts.push_back(start);
        starts.back()[kHigh] = high_rad;
      }
      break;
    case Spread::flex:
      for (const double hz : {56.0, 64.0, 72.0, 80.0, 88.0}) {
        starts.push_back(start);
        starts.back()[kFlexHz] = hz;
        starts.back().segment<4>(kFlexRightCos).setZero();
      }
      break;
    case Spread::scale:
      starts.push_back(start);
      for (const double log_scale : {-0.25, 0.25}) {
        for (const double high_rad : {-0.05, 0.05}) {
          starts.push_back(start);
          starts.back()[kLogDepth] += log_scale;
          starts.back()[kLogSpeed] += log_scale;
          starts.back()[kHigh] += high_rad;
        }
      }
      break;
  }
  // A first, short solve of each, all with the sigmas as given so that their costs compare; the two
  // best go on to the end.
  struct Begun {
    bool usable = false;
    double cost = 0.0;
    Parameters parameters;
  };
  const auto begin = [&](const Parameters& from) {
    Begun begun;
    Problem problem(sightings, from, anchor_s, focal_px, principal_px, options, Scatter{});
    begun.usable = problem.solve(options.first_iterations);
    begun.cost = problem.cost();
    begun.parameters = problem.parameters();
    return begun;
  };
  std::vector<Begun> begun = on_both_cores<Begun>(starts, begin);
  std::erase_if(begun, [](const Begun& b) { return !b.usable; });
  std::stable_sort(begun.begin(), begun.end(),
                   [](const Begun& a, const Begun& b) { return a.cost < b.cost; });
  const std::size_t finalists = options.coarse ? 1 : 2;
  begun.resize(std::min(begun.size(), finalists));
  const auto finish = [&](const Begun& b) {
    return fit_flight(sightings, b.parameters, anchor_s, focal_px, principal_px, options);
  };
  FlightFit best;
  for (FlightFit& fit : on_both_cores<FlightFit>(begun, finish)) {
    // Costs of fits with different residual scales do not compare; the scatter does.
    const auto worth = [](const FlightFit& f) { return f.cost * f.centre_scale * f.centre_scale; };
    if (fit.converged && (!best.converged || worth(fit) < worth(best))) {
      best = std::move(fit);
    }
  }
  return best;
}

ArrowState<double> state_of(const FlightFit& fit, double t_s) {
  return state_at<double>(fit.parameters.data(), fit.principal_px, t_s - fit.anchor_s);
}

Eigen::Vector2d seen_px(const FlightFit& fit, double t_s, double s) {
  return seen_px_of(fit.parameters, fit.principal_px, t_s - fit.anchor_s, s);
}

Derived derive(const FlightFit& fit,
               const std::function<Eigen::VectorXd(const Parameters&)>& function) {
  Derived derived;
  derived.value = function(fit.parameters);
  Eigen::MatrixXd jacobian(derived.value.size(), kParameters);
  for (int i = 0; i < kParameters; ++i) {
    const double sigma = std::sqrt(std::max(fit.covariance(i, i), 0.0));
    const double step = sigma > 0.0 ? 0.1 * sigma : 1e-6;
    Parameters plus = fit.parameters;
    Parameters minus = fit.parameters;
    plus[i] += step;
    minus[i] -= step;
    jacobian.col(i) = (function(plus) - function(minus)) / (2.0 * step);
  }
  derived.covariance = jacobian * fit.covariance * jacobian.transpose();
  return derived;
}

}  // namespace nocktrail::flight
