#include "nocktrail/tune/regression.hpp"

#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

using namespace nocktrail::tune;
using doctest::Approx;

namespace {

Place at(double length, double tip = 0.0, int group = 0) {
  Place place;
  place.at[0] = length;
  place.at[1] = tip;
  place.group = group;
  return place;
}

Regression four_setups() {
  Regression regression;
  regression.measured = {at(1.0), at(0.5), at(0.0), at(0.0, 1.0)};
  regression.offset_deg.resize(4);
  regression.offset_deg << -3.1, -1.8, -0.7, -1.4;
  regression.u_deg.resize(4);
  regression.u_deg << 0.3, 0.25, 0.2, 0.4;
  regression.wanted = {at(0.0), at(-0.5), at(-1.0), at(-0.25, 2.0)};
  regression.model_measured = Eigen::MatrixXd::Zero(1, 4);
  regression.model_wanted = Eigen::MatrixXd::Zero(1, 4);
  regression.discrepancy.level_deg = 5.0;
  regression.discrepancy.slope_deg[0] = 2.0;
  regression.discrepancy.slope_deg[1] = 1.5;
  return regression;
}

}  // namespace

// Bayesian linear regression with a normal prior and known noise, in its textbook conjugate form
// (Bishop, Pattern Recognition and Machine Learning, 2006, eq. 3.50-3.51; Gelman et al., Bayesian
// Data Analysis): posterior precision = prior precision + X' W X. Another road to the same answer:
// the regression works with covariances of offsets and never forms these matrices.
TEST_CASE("reference: a flat model is conjugate linear regression") {
  const Regression regression = four_setups();
  const Posterior posterior = posterior_of(regression);

  const auto design = [](const std::vector<Place>& places) {
    Eigen::MatrixXd x(static_cast<Eigen::Index>(places.size()), 3);
    for (std::size_t i = 0; i < places.size(); ++i) {
      x.row(static_cast<Eigen::Index>(i)) << 1.0, places[i].at[0], places[i].at[1];
    }
    return x;
  };
  const Eigen::MatrixXd x = design(regression.measured);
  const Eigen::Vector3d prior_sd(5.0, 2.0, 1.5);
  const Eigen::Matrix3d prior_precision = prior_sd.cwiseAbs2().cwiseInverse().asDiagonal();
  const Eigen::MatrixXd weights = regression.u_deg.cwiseAbs2().cwiseInverse().asDiagonal();
  const Eigen::Matrix3d precision = prior_precision + x.transpose() * weights * x;
  const Eigen::Vector3d coefficients =
      precision.ldlt().solve(Eigen::Vector3d(x.transpose() * weights * regression.offset_deg));
  const Eigen::Matrix3d spread = precision.inverse();

  const Eigen::MatrixXd wanted = design(regression.wanted);
  const Eigen::VectorXd mean = wanted * coefficients;
  const Eigen::MatrixXd covariance = wanted * spread * wanted.transpose();
  CHECK((posterior.mean() - mean).norm() < 1e-9);
  CHECK((posterior.covariance() - covariance).norm() < 1e-9);
}

TEST_CASE("reference: a prior slope that is not zero enters as the model's one draw") {
  Regression regression = four_setups();
  const auto prior_line = [](const Place& place) { return -2.0 * place.at[0]; };
  for (Eigen::Index i = 0; i < 4; ++i) {
    regression.model_measured(0, i) = prior_line(regression.measured[static_cast<std::size_t>(i)]);
    regression.model_wanted(0, i) = prior_line(regression.wanted[static_cast<std::size_t>(i)]);
  }
  // The same with the line taken off the data first.
  Regression shifted = four_setups();
  shifted.offset_deg -= regression.model_measured.row(0).transpose();
  const Eigen::VectorXd mean =
      posterior_of(shifted).mean() + regression.model_wanted.row(0).transpose();
  CHECK((posterior_of(regression).mean() - mean).norm() < 1e-9);
}

// Two draws, one measured set-up: Bayes' rule by hand with the normal density.
TEST_CASE("reference: draws are weighed by Bayes' rule") {
  Regression regression;
  regression.measured = {at(0.0)};
  regression.offset_deg = Eigen::VectorXd::Constant(1, 1.0);
  regression.u_deg = Eigen::VectorXd::Constant(1, 0.6);
  regression.wanted = {at(0.0)};
  regression.model_measured.resize(2, 1);
  regression.model_measured << 0.5, 3.0;
  regression.model_wanted = regression.model_measured;
  regression.discrepancy.level_deg = 0.8;  // 0.6^2 + 0.8^2 = 1
  const Posterior posterior = posterior_of(regression);
  const double first = std::exp(-0.5 * 0.25);
  const double second = std::exp(-0.5 * 4.0);
  CHECK(posterior.draw_weight(0) == Approx(first / (first + second)));
  CHECK(posterior.log_evidence ==
        Approx(std::log(0.5 * (first + second) / std::sqrt(2.0 * std::numbers::pi))));
  // Of what a draw misses, the level takes 0.64 of 1.
  CHECK(posterior.draw_mean(0, 0) == Approx(0.5 + 0.64 * 0.5));
  CHECK(posterior.draw_mean(1, 0) == Approx(3.0 - 0.64 * 2.0));
  CHECK(posterior.spread(0, 0) == Approx(0.64 - 0.64 * 0.64));
}

TEST_CASE("unit: without data the prior stays, and another group is tied less") {
  Regression regression = four_setups();
  regression.measured.clear();
  regression.offset_deg.resize(0);
  regression.u_deg.resize(0);
  const Posterior prior = posterior_of(regression);
  CHECK(prior.mean().norm() == 0.0);
  CHECK(prior.covariance()(0, 0) == Approx(25.0));
  Discrepancy discrepancy;
  discrepancy.level_deg = 1.0;
  discrepancy.group_deg = 2.0;
  CHECK(covariance(at(0, 0, 1), at(0, 0, 1), discrepancy) == Approx(5.0));
  CHECK(covariance(at(0, 0, 1), at(0, 0, 2), discrepancy) == Approx(1.0));
}

TEST_CASE("truth: sampled paths have the posterior's mean and covariance") {
  Regression regression = four_setups();
  regression.model_measured.resize(2, 4);
  regression.model_measured << -2.5, -1.5, -0.5, -1.0, -4.0, -3.0, -1.5, -2.0;
  regression.model_wanted.resize(2, 4);
  regression.model_wanted << -0.5, 0.5, 1.5, -1.0, -1.5, 0.0, 2.5, -2.0;
  const Posterior posterior = posterior_of(regression);
  constexpr Eigen::Index kPaths = 20000;
  const Eigen::MatrixXd paths = sampled(posterior, kPaths, 5);
  const Eigen::RowVectorXd mean = paths.colwise().mean();
  const Eigen::MatrixXd off = paths.rowwise() - mean;
  const Eigen::MatrixXd covariance = off.transpose() * off / static_cast<double>(kPaths - 1);
  const Eigen::MatrixXd expected = posterior.covariance();
  for (Eigen::Index i = 0; i < 4; ++i) {
    const double sd = std::sqrt(expected(i, i));
    CHECK(std::abs(mean(i) - posterior.mean()(i)) < 4.0 * sd / std::sqrt(double{kPaths}));
    for (Eigen::Index j = 0; j < 4; ++j) {
      // Standard deviation of a sampled covariance, normal theory: below sqrt(2 / n) of the sizes.
      const double size = std::sqrt(expected(i, i) * expected(j, j));
      CHECK(std::abs(covariance(i, j) - expected(i, j)) <
            4.0 * std::sqrt(2.0 / double{kPaths}) * size);
    }
  }
  CHECK((sampled(posterior, 50, 5) - sampled(posterior, 50, 5)).norm() == 0.0);
  CHECK((sampled(posterior, 50, 5) - sampled(posterior, 50, 6)).norm() > 0.0);
}

// Two readings with one and the same error: their difference is as sharp as if there were none,
// their level as blurred as the error. By hand, on a wide prior.
TEST_CASE("unit: an error that all set-ups share blurs the level, not the slope") {
  Regression regression;
  Place here;
  Place there;
  there.at[0] = 1.0;
  regression.measured = {here, there};
  regression.wanted = {here, there};
  regression.offset_deg = Eigen::Vector2d(-1.0, 1.0);
  regression.u_deg = Eigen::Vector2d(0.1, 0.1);
  regression.shared_deg = Eigen::Vector2d(0.4, 0.4);
  regression.model_measured = Eigen::MatrixXd::Zero(1, 2);
  regression.model_wanted = Eigen::MatrixXd::Zero(1, 2);
  regression.discrepancy.level_deg = 100.0;
  regression.discrepancy.slope_deg[0] = 100.0;
  const Eigen::MatrixXd covariance = posterior_of(regression).covariance();
  CHECK(std::sqrt(covariance(0, 0)) == Approx(std::hypot(0.1, 0.4)).epsilon(1e-3));
  CHECK(std::sqrt(covariance(0, 0) + covariance(1, 1) - 2.0 * covariance(0, 1)) ==
        Approx(0.1 * std::sqrt(2.0)).epsilon(1e-3));
}
