#include "nocktrail/flight/least_squares.hpp"

#include <ceres/crs_matrix.h>

#include <Eigen/Dense>

#include "nocktrail/median.hpp"

namespace nocktrail::flight {

Eigen::MatrixXd normal_equations(ceres::Problem& problem,
                                 const ceres::Problem::EvaluateOptions& evaluate) {
  ceres::CRSMatrix sparse;
  double cost = 0.0;
  problem.Evaluate(evaluate, &cost, nullptr, nullptr, &sparse);
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(sparse.num_cols, sparse.num_cols);
  for (int row = 0; row < sparse.num_rows; ++row) {
    const int begin = sparse.rows[static_cast<std::size_t>(row)];
    const int end = sparse.rows[static_cast<std::size_t>(row) + 1];
    for (int i = begin; i < end; ++i) {
      for (int j = begin; j < end; ++j) {
        normal(sparse.cols[static_cast<std::size_t>(i)],
               sparse.cols[static_cast<std::size_t>(j)]) +=
            sparse.values[static_cast<std::size_t>(i)] * sparse.values[static_cast<std::size_t>(j)];
      }
    }
  }
  return normal;
}

Eigen::MatrixXd covariance_of(const Eigen::MatrixXd& normal) {
  const Eigen::VectorXd scale = normal.diagonal().cwiseMax(1e-12).cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  const Eigen::MatrixXd inverse = scaled.completeOrthogonalDecomposition().pseudoInverse();
  return scale.asDiagonal() * inverse * scale.asDiagonal();
}

double robust_scale(std::vector<double> magnitudes) {
  if (magnitudes.size() < 6) {
    return 1.0;
  }
  return upper_median(magnitudes) / 0.6745;
}

}  // namespace nocktrail::flight
