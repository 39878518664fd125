#include "nocktrail/tune/regression.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>
#include <numbers>

namespace nocktrail::tune {
namespace {

Eigen::MatrixXd covariances(const std::vector<Place>& rows, const std::vector<Place>& columns,
                            const Discrepancy& discrepancy) {
  Eigen::MatrixXd result(static_cast<Eigen::Index>(rows.size()),
                         static_cast<Eigen::Index>(columns.size()));
  for (std::size_t i = 0; i < rows.size(); ++i) {
    for (std::size_t j = 0; j < columns.size(); ++j) {
      result(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j)) =
          covariance(rows[i], columns[j], discrepancy);
    }
  }
  return result;
}

}  // namespace

double covariance(const Place& a, const Place& b, const Discrepancy& discrepancy) {
  double sum = discrepancy.level_deg * discrepancy.level_deg;
  double distance = 0.0;
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const double slope = discrepancy.slope_deg[q];
    sum += slope * slope * a.at[q] * b.at[q];
    if (discrepancy.bend_steps[q] > 0.0) {
      const double steps = (a.at[q] - b.at[q]) / discrepancy.bend_steps[q];
      distance += steps * steps;
    }
  }
  sum += discrepancy.bend_deg * discrepancy.bend_deg * std::exp(-0.5 * distance);
  if (a.group == b.group) {
    sum += discrepancy.group_deg * discrepancy.group_deg;
  }
  return sum;
}

Posterior posterior_of(const Regression& regression) {
  Posterior result;
  const Eigen::Index draws = regression.model_wanted.rows();
  const Eigen::Index n = regression.offset_deg.size();
  result.spread = covariances(regression.wanted, regression.wanted, regression.discrepancy);
  result.draw_mean = regression.model_wanted;
  result.draw_weight = Eigen::VectorXd::Constant(draws, 1.0 / static_cast<double>(draws));
  result.effective_draws = static_cast<double>(draws);
  if (n == 0) {
    return result;
  }
  Eigen::MatrixXd measured =
      covariances(regression.measured, regression.measured, regression.discrepancy);
  measured.diagonal() += regression.u_deg.cwiseAbs2();
  if (regression.shared_deg.size() == n) {
    measured += regression.shared_deg * regression.shared_deg.transpose();
  }
  const Eigen::LLT<Eigen::MatrixXd> factor(measured);
  const Eigen::MatrixXd cross =
      covariances(regression.measured, regression.wanted, regression.discrepancy);
  // One column for each draw: what the draw leaves to delta.
  const Eigen::MatrixXd left =
      regression.offset_deg.replicate(1, draws) - regression.model_measured.transpose();
  const Eigen::MatrixXd solved = factor.solve(left);
  result.draw_mean += (cross.transpose() * solved).transpose();
  result.spread -= cross.transpose() * factor.solve(cross);

  const double log_determinant = 2.0 * factor.matrixLLT().diagonal().array().log().sum() +
                                 static_cast<double>(n) * std::log(2.0 * std::numbers::pi);
  const Eigen::VectorXd log_likelihood =
      (-0.5 * left.cwiseProduct(solved).colwise().sum().transpose().array() - 0.5 * log_determinant)
          .matrix();
  const double best = log_likelihood.maxCoeff();
  const Eigen::VectorXd weight = (log_likelihood.array() - best).exp().matrix();
  const double sum = weight.sum();
  result.draw_weight = weight / sum;
  result.log_evidence = best + std::log(sum / static_cast<double>(draws));
  result.effective_draws = 1.0 / result.draw_weight.squaredNorm();
  return result;
}

Eigen::VectorXd Posterior::mean() const {
  return draw_mean.transpose() * draw_weight;
}

Eigen::MatrixXd Posterior::covariance() const {
  const Eigen::RowVectorXd middle = mean().transpose();
  const Eigen::MatrixXd off = draw_mean.rowwise() - middle;
  const Eigen::MatrixXd between = off.transpose() * draw_weight.asDiagonal() * off;
  return between + spread;
}

Eigen::MatrixXd sampled(const Posterior& posterior, std::size_t count, std::uint64_t seed) {
  const Eigen::Index wanted = posterior.spread.rows();
  // The spread is of low rank along a fine grid: a root by eigenvalues takes what Cholesky cannot.
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(posterior.spread);
  const Eigen::MatrixXd root =
      solver.eigenvectors() * solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
  boost::random::mt19937_64 generator(seed);
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_01<double> uniform;
  const double start = uniform(generator);
  Eigen::MatrixXd paths(static_cast<Eigen::Index>(count), wanted);
  Eigen::Index draw = 0;
  double cumulative = posterior.draw_weight(0);
  Eigen::VectorXd noise(wanted);
  for (std::size_t i = 0; i < count; ++i) {
    const double at = (static_cast<double>(i) + start) / static_cast<double>(count);
    while (cumulative < at && draw + 1 < posterior.draw_weight.size()) {
      cumulative += posterior.draw_weight(++draw);
    }
    for (double& value : noise) {
      value = normal(generator);
    }
    const Eigen::VectorXd delta = root * noise;
    paths.row(static_cast<Eigen::Index>(i)) = posterior.draw_mean.row(draw) + delta.transpose();
  }
  return paths;
}

}  // namespace nocktrail::tune
