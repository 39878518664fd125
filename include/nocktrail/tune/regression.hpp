// Bayesian regression of an offset on what was changed.
//
//   offset(x) = model_k(x) + delta(x),   k a draw of the arrow model's unknowns, equally likely
//
// delta is what the model misses: a Gaussian process whose covariance is a level, a slope for each
// quantity and a gentle bend, so that with a single all-zero "draw" and wide terms this is plain
// Bayesian linear regression (with the bend at zero exactly so). Measured offsets turn into
// weights of the draws (their marginal likelihood) and, for each draw, into a Gaussian delta
// (C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.23-2.24,
// 2.30). Degrees throughout; x in scaled units of quantities, see judgement.hpp's Quantity.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace nocktrail::tune {

inline constexpr std::size_t kQuantities = 6;  // of judgement.hpp's Quantity, in its order

struct Place {
  std::array<double, kQuantities> at{};  // in usual steps from the latest set-up
  int group = 0;                         // set-ups that differ in what has no number of its own
};

// Standard deviations of the terms of delta.
struct Discrepancy {
  double level_deg = 0.0;
  double group_deg = 0.0;                        // a level of its own for each group
  std::array<double, kQuantities> slope_deg{};   // per usual step
  double bend_deg = 0.0;                         // of a squared exponential
  std::array<double, kQuantities> bend_steps{};  // its length along each quantity; 0: no bend
};
double covariance(const Place& a, const Place& b, const Discrepancy& discrepancy);

struct Regression {
  // One row for each measured set-up.
  std::vector<Place> measured;
  Eigen::VectorXd offset_deg;
  Eigen::VectorXd u_deg;  // standard, of each by itself
  // Standard, signed: the part of the errors that is one and the same in all of them, beside u_deg
  // (same phone, same told figures). It blurs the level and leaves the differences sharp.
  Eigen::VectorXd shared_deg;
  Eigen::MatrixXd model_measured;  // draws x measured
  // Where the answer is wanted.
  std::vector<Place> wanted;
  Eigen::MatrixXd model_wanted;  // draws x wanted
  Discrepancy discrepancy;
};

struct Posterior {
  Eigen::VectorXd draw_weight;   // sums to 1
  Eigen::MatrixXd draw_mean;     // draws x wanted
  Eigen::MatrixXd spread;        // covariance of delta at the wanted places, the same for all draws
  double log_evidence = 0.0;     // of the measured offsets
  double effective_draws = 0.0;  // Kish

  Eigen::VectorXd mean() const;  // over the draws
  Eigen::MatrixXd covariance() const;
};
Posterior posterior_of(const Regression& regression);

// `count` joint draws of the offsets at the wanted places, one a row. The seed decides all.
Eigen::MatrixXd sampled(const Posterior& posterior, std::size_t count, std::uint64_t seed);

}  // namespace nocktrail::tune
