// The free arrow as an Euler-Bernoulli beam with point masses: natural frequencies, shapes, nodes.
//
// Cubic Hermite finite elements along the shaft (deflection and slope at each node), consistent
// mass, point masses without rotary inertia at the nock, the tip and the fletching. The result is
// a set of mass-orthonormal shapes: two exact rigid ones (translation; rotation about the centre
// of mass) and the lowest bending ones. Because elastic shapes are mass-orthogonal to the rigid
// ones, the rigid-body axis of docs/measurement.md is simply the rigid part of a modal state.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

inline constexpr int kMaxModes = 24;  // rigid ones included
using ModeVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxModes, 1>;
using ModeMatrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxModes, kMaxModes>;

struct BeamOptions {
  int elements = 16;      // f3 of a tube with a heavy tip is then right to 0.01 %
  int bending_modes = 8;  // kept, lowest first; at most kMaxModes - 2
};

class BeamModes {
 public:
  // `arrow` must have positive length, EI and mass.
  explicit BeamModes(const ArrowBuild& arrow, const BeamOptions& options = {});

  // Number of shapes, rigid ones included: shape 0 is translation 1/sqrt(m), shape 1 rotation
  // (x - balance)/sqrt(I), shapes 2.. bending.
  int count() const { return static_cast<int>(nodal_.cols()); }
  // Angular frequencies, rad/s; 0 for the rigid shapes.
  const ModeVector& omega_rad_s() const { return omega_rad_s_; }
  double frequency_hz(int bending_mode) const;  // 1 is the first bending mode

  // Value and slope of every shape at a distance from the nock (0..length).
  ModeVector shape_at(double from_nock_m) const;
  ModeVector slope_at(double from_nock_m) const;

  // Where a bending mode crosses zero, metres from the nock, ascending.
  std::vector<double> nodes_m(int bending_mode) const;

  // Geometric stiffness of the axial compression N(x) = mass ahead of x, that is for a forward
  // acceleration of 1 m/s^2: K_total = K - a * compression(). Units 1/m in modal coordinates.
  const ModeMatrix& compression() const { return compression_; }

  const MassProperties& mass() const { return mass_; }
  double length_m() const { return length_m_; }

 private:
  double length_m_ = 0.0;
  double element_m_ = 0.0;
  int elements_ = 0;
  MassProperties mass_;
  Eigen::MatrixXd nodal_;  // 2 (elements + 1) rows: deflection, slope per node; one column a shape
  ModeVector omega_rad_s_;
  ModeMatrix compression_;
};

}  // namespace nocktrail::arrow
