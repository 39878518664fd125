// Draws of the arrow model, followed over set-ups. Lives for one judgement, remembers what it has
// computed.
#pragma once

#include <Eigen/Core>
#include <map>
#include <vector>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

class BowModel {
 public:
  BowModel(std::size_t draws, std::uint64_t seed, bool vertical);

  // Offset of every draw, degrees: nock_right or nock_high at the reference distance.
  const Eigen::VectorXd& offsets(const arrow::Setup& setup);

  // The same along a quantity, one column for each value: computed at a few even values and
  // interpolated by a cubic spline over the range of `at`.
  Eigen::MatrixXd along(const arrow::Setup& setup, Quantity quantity,
                        const std::vector<double>& at);

  // Whether the model can tell the two apart in its plane.
  bool alike(const arrow::Setup& a, const arrow::Setup& b) const;

 private:
  std::vector<arrow::Unknowns> draws_;
  bool vertical_;
  std::map<std::vector<double>, Eigen::VectorXd> known_;
};

// `setup` with one quantity set; a shaft of another spine has its mass per length with the square
// root of the stiffness.
arrow::Setup with(arrow::Setup setup, Quantity quantity, double value);
double value_in(const arrow::Setup& setup, Quantity quantity);

}  // namespace nocktrail::tune
