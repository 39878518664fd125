// Regions of the plane that hold a pair of offsets with 95 % chance.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::page {

// Half the size of the 95 % region in standard deviations along each main axis, for a covariance
// estimated with `freedom` degrees of freedom: Hotelling's T^2 with p = 2,
//   T^2 = 2 f / (f - 1) F(2, f - 1; 0.95)
// (Anderson, An Introduction to Multivariate Statistical Analysis, 5.2). Empty below kFewest.
std::optional<double> region95_radius(double freedom);
// Below this the region is so much larger than the scatter that it says nothing.
inline constexpr double kFewestFreedom = 2.5;

struct Regions {
  std::vector<Eigen::Vector2d> mean;   // outline of the region for the mean offset; may be empty
  std::vector<Eigen::Vector2d> shots;  // for one further shot, its error of measuring left out
};

// From what the judgement gives: the mean's standard uncertainty is u95 over Student's factor; a
// further shot has the scatter's variance and the mean's.
Regions regions95(const tune::SetupJudgement& setup);

}  // namespace nocktrail::page
