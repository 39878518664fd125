// What the fits of either view need of least squares beyond Ceres Solver itself.
#pragma once

#include <ceres/problem.h>

#include <Eigen/Core>
#include <vector>

namespace nocktrail::flight {

// J' J of the residual blocks and parameter blocks that `evaluate` names (all where it names none),
// their columns in its order; robust weights in it when `evaluate` applies the loss functions.
Eigen::MatrixXd normal_equations(ceres::Problem& problem,
                                 const ceres::Problem::EvaluateOptions& evaluate);

// The inverse, by way of a scaled matrix, so that parameters of very different units do not spoil
// it; what nothing is known of is left at zero (pseudo-inverse).
Eigen::MatrixXd covariance_of(const Eigen::MatrixXd& normal);

// Scatter of residuals by their median magnitude, over that of a unit normal distribution (0.6745);
// 1 for fewer than six.
double robust_scale(std::vector<double> magnitudes);

}  // namespace nocktrail::flight
