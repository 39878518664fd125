#include "nocktrail/side/fit.hpp"

#include <ceres/ceres.h>

#include <algorithm>
#include <array>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <memory>
#include <utility>

#include "fit_costs.hpp"
#include "nocktrail/flight/headline.hpp"
#include "nocktrail/flight/least_squares.hpp"

namespace nocktrail::side {
namespace {

struct Scatter {
  double centre = 1.0;
  double end = 1.0;
};

class Problem {
 public:
  Problem(const std::vector<track::ArrowSighting>& sightings, const Parameters& start, double way,
          double anchor_s, const Eigen::Vector2d& principal_px, double focal_px,
          const SideFitOptions& options, const Scatter& scatter)
      : parameters_(start) {
    SideFit at;
    at.parameters = start;
    at.way = way;
    at.anchor_s = anchor_s;
    at.principal_px = principal_px;
    for (const track::ArrowSighting& sighting : sightings) {
      add(sighting, at, options, scatter);
    }
    for (const PriorCost& prior : all_priors(options.priors, focal_px)) {
      const ceres::ResidualBlockId block = problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<PriorCost, 1, kParameters>(new PriorCost(prior)), nullptr,
          parameters_.data());
      // The wave, the swing and the bending of one shot are not the next one's.
      constexpr std::array<int, 12> kOfTheSetUp{kLogDepth,  kYaw,      kRoll,    kPitch,
                                                kLogLength, kLogFocal, kReadout, kRight,
                                                kNockEnd,   kTipEnd,   kTipMass, kDistortion};
      if (std::find(kOfTheSetUp.begin(), kOfTheSetUp.end(), prior.index) != kOfTheSetUp.end()) {
        shared_.push_back(block);
      }
    }
    shared_.push_back(
        problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<CameraAbove, 1, kParameters>(
                                      new CameraAbove{principal_px, options.priors.above_sigma_m}),
                                  nullptr, parameters_.data()));
    const auto within = [&](int index, double low, double high) {
      parameters_[index] = std::clamp(parameters_[index], low, high);
      problem_.SetParameterLowerBound(parameters_.data(), index, low);
      problem_.SetParameterUpperBound(parameters_.data(), index, high);
    };
    // Far outside of what is believed: with few ends seen the solver could run off to where numbers
    // end.
    within(kCentreX, -principal_px.x(), 3.0 * principal_px.x());
    within(kCentreY, -principal_px.y(), 3.0 * principal_px.y());
    within(kLogDepth, std::log(0.5), std::log(30.0));
    within(kSlope, -1.0, 1.0);
    within(kYaw, -1.1, 1.1);
    within(kRoll, -0.5, 0.5);
    within(kPitch, -0.8, 0.8);
    within(kLogSpeed, std::log(10.0), std::log(150.0));
    within(kLogLength, std::log(0.4), std::log(1.3));
    within(kLogFocal, std::log(0.3 * focal_px), std::log(3.0 * focal_px));
    within(kRight, -0.8, 0.8);
    within(kHigh, -0.8, 0.8);
    within(kRightRate, -2.0, 2.0);
    within(kHighRate, -2.0, 2.0);
    within(kReadout, -0.1, 0.1);
    within(kLift, -2.0, 2.0);
    within(kDrag, -100.0, 100.0);
    within(kFlexDownCos, -0.2, 0.2);
    within(kFlexDownSin, -0.2, 0.2);
    within(kNockEnd, -0.3, 0.3);
    within(kTipEnd, -0.3, 0.3);
    within(kFlexHz, 10.0, 250.0);
    within(kFlexDecay, -10.0, 100.0);
    within(kDistortion, -0.3, 0.3);
    within(kDamping, 0.0, 0.5);
    within(kTipMass, 0.02, 1.1);
    within(kLogWave, std::log(4.0), std::log(150.0));
  }

  bool solve(int max_iterations) {
    ceres::Solver::Options solver;
    solver.linear_solver_type = ceres::DENSE_QR;
    solver.max_num_iterations = max_iterations;
    solver.logging_type = ceres::SILENT;
    solver.num_threads = 1;
    solver.function_tolerance = 1e-8;
    ceres::Solver::Summary summary;
    ceres::Solve(solver, &problem_, &summary);
    cost_ = summary.final_cost;
    return summary.IsSolutionUsable() && parameters_.allFinite();
  }

  const Parameters& parameters() const { return parameters_; }
  double cost() const { return cost_; }
  const std::vector<PointCost>& points() const { return points_; }

  Eigen::MatrixXd covariance() { return flight::covariance_of(normal_equations({})); }
  Eigen::MatrixXd shared_precision() { return normal_equations(shared_); }

 private:
  void add(const track::ArrowSighting& sighting, const SideFit& at, const SideFitOptions& options,
           const Scatter& scatter) {
    const double dt = sighting.t_s - at.anchor_s;
    const Eigen::Vector2d nock = seen_px(at, sighting.t_s, 0.0);
    const Eigen::Vector2d tip = seen_px(at, sighting.t_s, 1.0);
    const Eigen::Vector2d along = (tip - nock).normalized();
    const Eigen::Vector2d across(-along.y(), along.x());
    const auto put = [&](const Eigen::Vector2d& px, const Eigen::Vector2d& direction, double sigma,
                         double share, Part part) {
      const double row = options.readout_per_px.dot(px - at.principal_px);
      const PointCost point{px, direction, sigma, share, part, dt, row, at.way, at.principal_px};
      points_.push_back(point);
      problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<PointCost, 1, kParameters>(new PointCost(point)),
          new ceres::CauchyLoss(options.robust_sigmas), parameters_.data());
    };
    for (const track::CentrePoint& point : sighting.centre) {
      // Across the shaft a little more or less along it is nothing.
      const double share = (point.at_px - nock).dot(along) / (tip - nock).norm();
      put(point.at_px, across, options.centre_alike * point.sigma_px * scatter.centre, share,
          Part::centre);
    }
    if (sighting.nock) {
      put(sighting.nock->at_px, along, sighting.nock->sigma_px * scatter.end, 0.0, Part::nock);
    }
    if (sighting.tip) {
      put(sighting.tip->at_px, along, sighting.tip->sigma_px * scatter.end, 1.0, Part::tip);
    }
  }

  // Of these blocks, or of all.
  Eigen::MatrixXd normal_equations(const std::vector<ceres::ResidualBlockId>& blocks) {
    ceres::Problem::EvaluateOptions evaluate;
    evaluate.residual_blocks = blocks;
    return flight::normal_equations(problem_, evaluate);
  }

  Parameters parameters_;
  ceres::Problem problem_;
  std::vector<PointCost> points_;
  std::vector<ceres::ResidualBlockId> shared_;
  double cost_ = 0.0;
};

// On from the first solution, with the scatter that each shows.
SideFit solve_on(std::unique_ptr<Problem> problem,
                 const std::vector<track::ArrowSighting>& sightings, double way, double anchor_s,
                 const Eigen::Vector2d& principal_px, double focal_px,
                 const SideFitOptions& options) {
  SideFit fit;
  fit.anchor_s = anchor_s;
  fit.way = way;
  fit.principal_px = principal_px;
  Scatter scatter;
  constexpr int kRounds = 4;
  for (int round = 0; round < kRounds; ++round) {
    if (round > 0) {
      problem = std::make_unique<Problem>(sightings, fit.parameters, way, anchor_s, principal_px,
                                          focal_px, options, scatter);
      if (!problem->solve(options.max_iterations)) {
        return fit;
      }
    }
    fit.parameters = problem->parameters();
    fit.cost = problem->cost();
    if (round + 1 < kRounds) {
      std::vector<double> centre;
      std::vector<double> ends;
      for (const PointCost& point : problem->points()) {
        double residual = 0.0;
        point(fit.parameters.data(), &residual);
        (point.part == Part::centre ? centre : ends).push_back(std::abs(residual));
      }
      // Never below what was assumed: what neighbouring frames show is not independent.
      scatter.centre = std::max(1.0, scatter.centre * flight::robust_scale(centre));
      scatter.end = std::max(1.0, scatter.end * flight::robust_scale(ends));
    }
  }
  fit.converged = true;
  fit.centre_scale = scatter.centre;
  fit.end_scale = scatter.end;
  fit.frames = static_cast<int>(sightings.size());
  for (const PointCost& point : problem->points()) {
    ++(point.part == Part::centre ? fit.centre_points : fit.ends);
  }
  fit.covariance = problem->covariance();
  const Eigen::MatrixXd of_priors = fit.covariance * problem->shared_precision() * fit.covariance;
  constexpr double kSightedAlike = 0.5;
  fit.shared_covariance = of_priors + kSightedAlike * (fit.covariance - of_priors);
  return fit;
}

double forward_of(const SideFit& fit, const Parameters& p, double dt) {
  const flight::ArrowState<double> state =
      state_at<double>(p.data(), fit.principal_px, fit.way, dt);
  const Eigen::Vector3d nock = state.centre_m - state.axis * (state.balance * state.length_m);
  const Eigen::Vector3d anchor =
      state_at<double>(p.data(), fit.principal_px, fit.way, 0.0).centre_m;
  return (nock - anchor).dot(state.forward);
}

}  // namespace

SideFit fit_side(const std::vector<track::ArrowSighting>& sightings, const Parameters& start,
                 double way, double anchor_s, const Eigen::Vector2d& principal_px, double focal_px,
                 const SideFitOptions& options) {
  SideFit best;
  std::vector<Parameters> valleys;
  for (const double yaw_rad : {0.0, -0.35, 0.35}) {
    Parameters from = start;
    from[kYaw] = yaw_rad;
    // The same speed in the picture, at the anchor.
    from[kLogDepth] += std::log(std::cos(yaw_rad));
    auto first = std::make_unique<Problem>(sightings, from, way, anchor_s, principal_px, focal_px,
                                           options, Scatter{});
    // Most often all lead into one valley, which is followed to its end once.
    constexpr double kSame = 0.002;  // radians, and shares of the distance
    const auto same = [&](const Parameters& valley) {
      return std::abs(valley[kYaw] - first->parameters()[kYaw]) < kSame &&
             std::abs(valley[kLogDepth] - first->parameters()[kLogDepth]) < kSame;
    };
    if (!first->solve(options.max_iterations) ||
        std::any_of(valleys.begin(), valleys.end(), same)) {
      continue;
    }
    valleys.push_back(first->parameters());
    const SideFit fit =
        solve_on(std::move(first), sightings, way, anchor_s, principal_px, focal_px, options);
    const auto worth = [](const SideFit& f) { return f.cost * f.centre_scale * f.centre_scale; };
    if (fit.converged && (!best.converged || worth(fit) < worth(best))) {
      best = fit;
    }
  }
  return best;
}

flight::ArrowState<double> state_of(const SideFit& fit, double t_s) {
  return state_at<double>(fit.parameters.data(), fit.principal_px, fit.way, t_s - fit.anchor_s);
}

Eigen::Vector2d seen_px(const SideFit& fit, double t_s, double s) {
  return seen_at<double>(fit.parameters.data(), fit.principal_px,
                         flight::shaft_point(state_of(fit, t_s), s, 0.0));
}

double nock_forward_m(const SideFit& fit, double t_s) {
  return forward_of(fit, fit.parameters, t_s - fit.anchor_s);
}

SideHeadline headline_of(const SideFit& fit, double rest_forward_m, double rest_sigma_m) {
  const auto time_at = [&](const Parameters& p, double forward_m) {
    double dt = 0.0;
    for (int i = 0; i < 12; ++i) {
      dt += (forward_m - forward_of(fit, p, dt)) / std::exp(p[kLogSpeed]);
    }
    return dt;
  };
  const double log_length = fit.parameters[kLogLength];
  const auto values = [&](const Parameters& p, double rest) {
    // The scale of all lengths is the arrow's.
    const double scaled = rest * std::exp(p[kLogLength] - log_length);
    const double dt = time_at(p, scaled + flight::kReferenceM);
    const flight::ArrowState<double> state =
        state_at<double>(p.data(), fit.principal_px, fit.way, dt);
    const double exit_dt = time_at(p, scaled - flight::kBraceHeightM);
    Eigen::VectorXd v(5);
    v << state.nock_high_rad, state.high_rate, std::exp(p[kLogSpeed]) - p[kDrag] * exit_dt,
        p[kFlexHz],
        std::exp(-p[kFlexDecay] * exit_dt) * std::hypot(p[kFlexDownCos], p[kFlexDownSin]);
    return v;
  };
  const Eigen::VectorXd value = values(fit.parameters, rest_forward_m);
  Eigen::MatrixXd jacobian(value.size(), kParameters);
  for (int i = 0; i < kParameters; ++i) {
    const double step = 0.1 * std::sqrt(std::max(fit.covariance(i, i), 1e-18));
    Parameters plus = fit.parameters;
    Parameters minus = fit.parameters;
    plus[i] += step;
    minus[i] -= step;
    jacobian.col(i) = (values(plus, rest_forward_m) - values(minus, rest_forward_m)) / (2.0 * step);
  }
  Eigen::MatrixXd covariance = jacobian * fit.covariance * jacobian.transpose();
  const double step = std::max(0.02, 0.5 * rest_sigma_m);
  const Eigen::VectorXd by_rest = (values(fit.parameters, rest_forward_m + step) -
                                   values(fit.parameters, rest_forward_m - step)) /
                                  (2.0 * step);
  covariance += rest_sigma_m * rest_sigma_m * by_rest * by_rest.transpose();
  const Eigen::MatrixXd shared = jacobian * fit.shared_covariance * jacobian.transpose();

  // Neighbouring frames share background and light, hence about half as many degrees of freedom.
  const double freedom = std::max(3.0, fit.frames / 2.0 - 1.0);
  const double coverage = boost::math::quantile(boost::math::students_t(freedom), 0.975);
  const auto measured = [&](int i) {
    return Measured{value[i], coverage * std::sqrt(std::max(covariance(i, i), 0.0))};
  };
  SideHeadline headline;
  headline.time_s = fit.anchor_s + time_at(fit.parameters, rest_forward_m + flight::kReferenceM);
  headline.high_rad = measured(0);
  headline.high_rate = measured(1);
  headline.speed_mps = measured(2);
  headline.shared_high_u95_rad =
      std::min(headline.high_rad.u95, coverage * std::sqrt(std::max(shared(0, 0), 0.0)));
  headline.flex_hz = measured(3);
  headline.flex_amplitude_m = measured(4);
  const double flex_sigma = std::sqrt(std::max(covariance(4, 4), 1e-18));
  headline.flex_sigmas = value[4] / flex_sigma;
  return headline;
}

}  // namespace nocktrail::side
