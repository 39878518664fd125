#include "nocktrail/flight/fit.hpp"

#include <ceres/ceres.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <future>
#include <memory>

#include "nocktrail/flight/least_squares.hpp"
#include "prior_costs.hpp"
#include "sighting_cost.hpp"

namespace nocktrail::flight {
namespace {

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
      const double jitter_px = std::hypot(options.frame_jitter_px, sightings[k].camera_sigma_px);
      problem_.AddResidualBlock(new JitterCost(new JitterPrior{jitter_px}), nullptr,
                                &jitter_[2 * k]);
    }
    FlightPriors priors = options.priors;
    if (options.coarse) {
      priors.flex_right_sigma_m = 0.001;
      priors.flex_down_sigma_m = 0.001;
    }
    for (const auto& [index, prior] : all_priors(priors, focal_px)) {
      const ceres::ResidualBlockId block = problem_.AddResidualBlock(
          new PriorCost(new PriorResidual{index, prior}), nullptr, parameters_.data());
      if (index != kSwayRight && index != kSwayDown) {  // the hands sway anew in each shot
        shared_.push_back(block);
      }
    }
    shared_.push_back(
        problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<CameraAbove, 1, kParameters>(
                                      new CameraAbove{principal_px, priors.camera_above_m}),
                                  nullptr, parameters_.data()));
    if (options.exit_s) {
      shared_.push_back(problem_.AddResidualBlock(
          new ceres::AutoDiffCostFunction<CameraBehind, 1, kParameters>(
              new CameraBehind{principal_px, priors.camera_behind_m, *options.exit_s - anchor_s,
                               options.exit_sigma_s}),
          nullptr, parameters_.data()));
    }
    if (options.flown) {
      shared_.push_back(
          problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<FlownCost, 1, kParameters>(
                                        new FlownCost{*options.flown, anchor_s}),
                                    nullptr, parameters_.data()));
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
    return covariance_of(normal_equations(problem_, evaluate))
        .topLeftCorner(kParameters, kParameters);
  }

  // What the priors that the next shot shares know, as a precision of the parameters.
  Eigen::MatrixXd shared_precision() {
    ceres::Problem::EvaluateOptions evaluate;
    evaluate.parameter_blocks.push_back(parameters_.data());
    evaluate.residual_blocks = shared_;
    return normal_equations(problem_, evaluate);
  }

  // Raw residuals, with their sighting.
  struct Raw {
    std::size_t sighting;
    Part part;
    double value;
  };
  std::vector<Raw> raw() const {
    std::vector<Raw> values;
    for (std::size_t k = 0; k < costs_.size(); ++k) {
      const std::vector<double> residuals = costs_[k]->raw(parameters_.data(), &jitter_[2 * k]);
      for (std::size_t i = 0; i < residuals.size(); ++i) {
        values.push_back({k, costs_[k]->points()[i].part, residuals[i]});
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
      points.push_back({point.at_px,
                        {-local.y(), local.x()},
                        point.sigma_px * scatter.centre,
                        share,
                        Part::centre,
                        0.0});
    }
    if (sighting.nock) {
      points.push_back({sighting.nock->at_px, tangent, sighting.nock->sigma_px * scatter.end, 0.0,
                        Part::nock, 0.0, sighting.nock->may_be_hidden});
    }
    if (sighting.tip) {
      points.push_back({sighting.tip->at_px, tangent, sighting.tip->sigma_px * scatter.end, 1.0,
                        Part::tip, 0.0, sighting.tip->may_be_hidden});
    }
    if (sighting.middle) {
      points.push_back({sighting.middle->at_px, tangent, sighting.middle->sigma_px * scatter.middle,
                        0.5, Part::middle, 0.0, false});
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
  std::vector<SightingCost*> costs_;            // owned by problem_
  std::vector<ceres::ResidualBlockId> shared_;  // priors of what the next shot shares
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
        std::vector<double>& same = raw.part == Part::centre   ? centre
                                    : raw.part == Part::middle ? middles
                                                               : ends;
        same.push_back(std::abs(raw.value));
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
  fit.frames = static_cast<int>(sightings.size());
  fit.residuals.resize(sightings.size());
  std::vector<int> counts(sightings.size(), 0);
  for (std::size_t k = 0; k < sightings.size(); ++k) {
    fit.residuals[k].frame = sightings[k].frame;
  }
  for (const auto& raw : problem->raw()) {
    FrameResidual& residual = fit.residuals[raw.sighting];
    if (raw.part == Part::centre) {
      residual.centre_rms += raw.value * raw.value;
      ++counts[raw.sighting];
      ++fit.centre_points;
    } else if (raw.part == Part::middle) {
      ++fit.middles;
    } else {
      (raw.part == Part::nock ? residual.nock : residual.tip) = raw.value;
      ++fit.ends;
    }
  }
  for (std::size_t k = 0; k < sightings.size(); ++k) {
    if (counts[k] > 0) {
      fit.residuals[k].centre_rms = std::sqrt(fit.residuals[k].centre_rms / counts[k]);
    }
  }
  fit.covariance = problem->covariance();
  const Eigen::MatrixXd of_priors = fit.covariance * problem->shared_precision() * fit.covariance;
  constexpr double kSightedAlike = 0.5;
  fit.shared_covariance = of_priors + kSightedAlike * (fit.covariance - of_priors);
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
  derived.shared_covariance = jacobian * fit.shared_covariance * jacobian.transpose();
  return derived;
}

}  // namespace nocktrail::flight
