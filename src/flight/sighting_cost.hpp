// One frame's sightings of the arrow as residuals of the flight's parameters, for Ceres Solver.
// Private to the flight.
#pragma once

#include <ceres/cost_function.h>

#include <Eigen/Core>
#include <vector>

#include "nocktrail/flight/model.hpp"

namespace nocktrail::flight {

// What of the arrow an observation is of.
enum class Part { centre, nock, tip, middle };

// One observation: the component along `direction` of (seen - observed), in sigmas.
struct Point {
  Eigen::Vector2d observed_px;
  Eigen::Vector2d direction;
  double sigma_px = 1.0;
  double share = 0.0;  // along the shaft from the nock
  Part part = Part::centre;
  double row = 0.0;  // readout share relative to the frame's mean
  bool may_be_hidden = false;
};

// All observations of one frame: the state is worked out once for all of them. Parameter blocks:
// the flight's parameters, and the frame's shift in pixels. Each residual r is passed through
// c sqrt(log(1 + r^2/c^2)) with its sign, so that the sum of squares is Cauchy's robust cost.
class SightingCost : public ceres::CostFunction {
 public:
  SightingCost(std::vector<Point> points, double dt_s, double mean_row,
               const Eigen::Vector2d& principal_px, double robust_sigmas);

  bool Evaluate(const double* const* parameters, double* residuals,
                double** jacobians) const override;

  const std::vector<Point>& points() const { return points_; }

  // Unshaped residuals in sigmas.
  std::vector<double> raw(const double* parameters, const double* jitter) const;

 private:
  std::vector<Point> points_;
  double dt_s_;
  double mean_row_;
  Eigen::Vector2d principal_px_;
  double robust_;
};

}  // namespace nocktrail::flight
