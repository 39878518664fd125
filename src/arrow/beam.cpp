#include "nocktrail/arrow/beam.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace nocktrail::arrow {
namespace {

using Vector4 = Eigen::Vector4d;

// Hermite cubics on an element of length h at s in 0..1, for (deflection, slope) at both ends.
Vector4 hermite(double s, double h) {
  const double s2 = s * s;
  const double s3 = s2 * s;
  return {1.0 - 3.0 * s2 + 2.0 * s3, h * (s - 2.0 * s2 + s3), 3.0 * s2 - 2.0 * s3, h * (s3 - s2)};
}

Vector4 hermite_slope(double s, double h) {
  const double s2 = s * s;
  return {(-6.0 * s + 6.0 * s2) / h, 1.0 - 4.0 * s + 3.0 * s2, (6.0 * s - 6.0 * s2) / h,
          3.0 * s2 - 2.0 * s};
}

Vector4 hermite_curvature(double s, double h) {
  return {(-6.0 + 12.0 * s) / (h * h), (-4.0 + 6.0 * s) / h, (6.0 - 12.0 * s) / (h * h),
          (-2.0 + 6.0 * s) / h};
}

// Four-point Gauss-Legendre on 0..1: exact to degree 7, that is for the consistent mass matrix.
struct GaussPoint {
  double at;
  double weight;
};
std::array<GaussPoint, 4> gauss_points() {
  const double inner = std::sqrt(3.0 / 7.0 - 2.0 / 7.0 * std::sqrt(6.0 / 5.0));
  const double outer = std::sqrt(3.0 / 7.0 + 2.0 / 7.0 * std::sqrt(6.0 / 5.0));
  const double inner_weight = (18.0 + std::sqrt(30.0)) / 72.0;
  const double outer_weight = (18.0 - std::sqrt(30.0)) / 72.0;
  return {{{0.5 * (1.0 - outer), outer_weight},
           {0.5 * (1.0 - inner), inner_weight},
           {0.5 * (1.0 + inner), inner_weight},
           {0.5 * (1.0 + outer), outer_weight}}};
}

}  // namespace

BeamModes::BeamModes(const ArrowBuild& arrow, const BeamOptions& options)
    : length_m_(arrow.shaft.length_m),
      element_m_(arrow.shaft.length_m / options.elements),
      elements_(options.elements),
      mass_(mass_properties(arrow)) {
  const int size = 2 * (elements_ + 1);
  const double h = element_m_;
  Eigen::MatrixXd mass = Eigen::MatrixXd::Zero(size, size);
  Eigen::MatrixXd stiffness = Eigen::MatrixXd::Zero(size, size);
  Eigen::MatrixXd compression = Eigen::MatrixXd::Zero(size, size);

  mass(0, 0) += arrow.nock_mass_kg;
  mass(size - 2, size - 2) += arrow.tip_mass_kg;
  if (arrow.fletching_mass_kg > 0.0) {
    const double at = std::clamp(arrow.fletching_from_nock_m, 0.0, length_m_);
    const Eigen::Index e = std::min<Eigen::Index>(static_cast<Eigen::Index>(at / h), elements_ - 1);
    const Vector4 n = hermite(at / h - static_cast<double>(e), h);
    mass.block<4, 4>(2 * e, 2 * e) += arrow.fletching_mass_kg * n * n.transpose();
  }

  const auto gauss = gauss_points();
  double ahead_of_element = arrow.tip_mass_kg;
  for (Eigen::Index e = elements_ - 1; e >= 0; --e) {
    const double start = static_cast<double>(e) * h;
    const double fletching_ahead_limit = arrow.fletching_from_nock_m;
    double element_mass = 0.0;
    for (const GaussPoint& g : gauss) {
      const double x = start + g.at * h;
      const Section section = section_at(arrow.shaft, x);
      const Vector4 n = hermite(g.at, h);
      const Vector4 curvature = hermite_curvature(g.at, h);
      mass.block<4, 4>(2 * e, 2 * e) +=
          g.weight * h * section.mass_per_length_kg_per_m * n * n.transpose();
      stiffness.block<4, 4>(2 * e, 2 * e) +=
          g.weight * h * section.ei_n_m2 * curvature * curvature.transpose();
      element_mass += g.weight * h * section.mass_per_length_kg_per_m;
    }
    for (const GaussPoint& g : gauss) {
      const double x = start + g.at * h;
      // Within the element the density is taken as even; the taper changes it by a per cent.
      double ahead = ahead_of_element + element_mass * (1.0 - g.at);
      if (x < fletching_ahead_limit) {
        ahead += arrow.fletching_mass_kg;
      }
      const Vector4 slope = hermite_slope(g.at, h);
      compression.block<4, 4>(2 * e, 2 * e) += g.weight * h * ahead * slope * slope.transpose();
    }
    ahead_of_element += element_mass;
  }

  const int bending = std::min({options.bending_modes, size - 2, kMaxModes - 2});
  const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(stiffness, mass);
  nodal_.resize(size, bending + 2);
  omega_rad_s_ = ModeVector::Zero(bending + 2);
  // The two zero modes come out as any mixture; the exact rigid shapes take their place.
  for (Eigen::Index node = 0; node <= elements_; ++node) {
    const double root_inertia = std::sqrt(mass_.inertia_kg_m2);
    nodal_(2 * node, 0) = 1.0 / std::sqrt(mass_.mass_kg);
    nodal_(2 * node + 1, 0) = 0.0;
    nodal_(2 * node, 1) = (static_cast<double>(node) * h - mass_.balance_m) / root_inertia;
    nodal_(2 * node + 1, 1) = 1.0 / root_inertia;
  }
  for (int k = 0; k < bending; ++k) {
    omega_rad_s_(k + 2) = std::sqrt(solver.eigenvalues()(k + 2));
    // The sign is fixed so that outputs do not hang on the eigensolver: the nock swings positive.
    const double sign = solver.eigenvectors()(0, k + 2) < 0.0 ? -1.0 : 1.0;
    nodal_.col(k + 2) = sign * solver.eigenvectors().col(k + 2);
  }
  compression_ = nodal_.transpose() * compression * nodal_;
}

double BeamModes::frequency_hz(int bending_mode) const {
  return omega_rad_s_(bending_mode + 1) / (2.0 * std::numbers::pi);
}

ModeVector BeamModes::shape_at(double from_nock_m) const {
  const double position = std::clamp(from_nock_m, 0.0, length_m_) / element_m_;
  const Eigen::Index e = std::min<Eigen::Index>(static_cast<Eigen::Index>(position), elements_ - 1);
  const Vector4 n = hermite(position - static_cast<double>(e), element_m_);
  return nodal_.middleRows<4>(2 * e).transpose() * n;
}

ModeVector BeamModes::slope_at(double from_nock_m) const {
  const double position = std::clamp(from_nock_m, 0.0, length_m_) / element_m_;
  const Eigen::Index e = std::min<Eigen::Index>(static_cast<Eigen::Index>(position), elements_ - 1);
  const Vector4 n = hermite_slope(position - static_cast<double>(e), element_m_);
  return nodal_.middleRows<4>(2 * e).transpose() * n;
}

std::vector<double> BeamModes::nodes_m(int bending_mode) const {
  const auto value = [&](double x) { return shape_at(x)(bending_mode + 1); };
  constexpr int kScan = 400;
  std::vector<double> nodes;
  for (int i = 0; i < kScan; ++i) {
    double low = length_m_ * i / kScan;
    double high = length_m_ * (i + 1) / kScan;
    const double low_value = value(low);
    if (low_value * value(high) > 0.0) {
      continue;
    }
    for (int halving = 0; halving < 40; ++halving) {
      const double middle = 0.5 * (low + high);
      (value(middle) * low_value > 0.0 ? low : high) = middle;
    }
    nodes.push_back(0.5 * (low + high));
  }
  return nodes;
}

}  // namespace nocktrail::arrow
