#include "nocktrail/arrow/beam.hpp"

#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <vector>

#include "example_setups.hpp"

using namespace nocktrail::arrow;
using namespace nocktrail::arrow::examples;

namespace {

// Frequency parameter beta L of a bending mode: f = (beta L)^2 / (2 pi L^2) sqrt(EI / mu).
double beta_l(const BeamModes& modes, const ArrowBuild& arrow, int mode) {
  const Shaft& shaft = arrow.shaft;
  const double root = std::sqrt(shaft.ei_n_m2 / shaft.mass_per_length_kg_per_m);
  const double omega = 2.0 * std::numbers::pi * modes.frequency_hz(mode);
  return shaft.length_m * std::sqrt(omega / root);
}

ArrowBuild with_end_masses(double nock_ratio, double tip_ratio) {
  ArrowBuild arrow = bare_tube_a();
  const double shaft_mass = arrow.shaft.length_m * arrow.shaft.mass_per_length_kg_per_m;
  arrow.nock_mass_kg = nock_ratio * shaft_mass;
  arrow.tip_mass_kg = tip_ratio * shaft_mass;
  return arrow;
}

// The lowest forward acceleration at which the shaft buckles, its ends held by stiff springs:
// lowest eigenvalue of (K + springs) y = a G y.
double buckling_acceleration(const ArrowBuild& arrow, const std::vector<double>& held_at_m) {
  BeamOptions options;
  options.elements = 24;
  options.bending_modes = kMaxModes - 2;
  const BeamModes modes(arrow, options);
  const double spring = 1e4 * arrow.shaft.ei_n_m2 / std::pow(arrow.shaft.length_m, 3);
  Eigen::MatrixXd stiffness = modes.omega_rad_s().cwiseAbs2().asDiagonal();
  for (const double at : held_at_m) {
    const ModeVector shape = modes.shape_at(at);
    stiffness += spring * shape * shape.transpose();
  }
  const Eigen::MatrixXd compression = modes.compression();
  const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(compression, stiffness);
  return 1.0 / solver.eigenvalues()(solver.eigenvalues().size() - 1);
}

}  // namespace

// Blevins, Formulas for Natural Frequency and Mode Shape (1979), free-free beam; also Rao,
// Mechanical Vibrations. Values recalled from the handbooks and recomputed from
// cos(x) cosh(x) = 1.
TEST_CASE("reference: free-free beam, frequencies and nodes") {
  const ArrowBuild arrow = bare_tube_a();
  const BeamModes modes(arrow);
  CHECK(beta_l(modes, arrow, 1) == doctest::Approx(4.730041).epsilon(5e-5));
  CHECK(beta_l(modes, arrow, 2) == doctest::Approx(7.853205).epsilon(5e-5));
  CHECK(beta_l(modes, arrow, 3) == doctest::Approx(10.995608).epsilon(1e-4));
  CHECK(beta_l(modes, arrow, 4) == doctest::Approx(14.137165).epsilon(2e-4));
  const std::vector<double> nodes = modes.nodes_m(1);
  REQUIRE(nodes.size() == 2);
  CHECK(std::abs(nodes[0] / modes.length_m() - 0.22416) < 2e-4);
  CHECK(std::abs(nodes[1] / modes.length_m() - 0.77584) < 2e-4);
  CHECK(std::abs(modes.nodes_m(2).front() / modes.length_m() - 0.1321) < 2e-4);
  CHECK(modes.shape_at(0.5 * modes.length_m())(2) / modes.shape_at(0.0)(2) ==
        doctest::Approx(-0.6078).epsilon(3e-4));
}

// Roots of the exact transcendental equation with w'' = 0 and EI w''' = -+ omega^2 m w at the ends,
// solved in a separate program: frequencies to 0.1 %, nodes to 0.001 L.
TEST_CASE("reference: point masses at the ends") {
  struct Row {
    double nock, tip, b1, b2, b3, node1, node2;
  };
  for (const Row& row : {Row{0, 0.10, 4.4303, 7.4499, 10.5218, 0.2388, 0.8333},
                         Row{0, 0.25, 4.2490, 7.2804, 10.3705, 0.2479, 0.8791},
                         Row{0, 0.50, 4.1281, 7.1898, 10.2985, 0.2540, 0.9166},
                         Row{0, 1.00, 4.0418, 7.1338, 10.2566, 0.2584, 0.9484},
                         Row{0.03, 0.25, 4.1438, 7.1103, 10.1442, 0.2270, 0.8744},
                         Row{0.25, 0.25, 3.8135, 6.7332, 9.7617, 0.1411, 0.8589}}) {
    CAPTURE(row.nock);
    CAPTURE(row.tip);
    const ArrowBuild arrow = with_end_masses(row.nock, row.tip);
    const BeamModes modes(arrow);
    // 0.1 % of a frequency is 0.05 % of beta L.
    CHECK(beta_l(modes, arrow, 1) == doctest::Approx(row.b1).epsilon(5e-4));
    CHECK(beta_l(modes, arrow, 2) == doctest::Approx(row.b2).epsilon(5e-4));
    CHECK(beta_l(modes, arrow, 3) == doctest::Approx(row.b3).epsilon(5e-4));
    const std::vector<double> nodes = modes.nodes_m(1);
    REQUIRE(nodes.size() == 2);
    CHECK(std::abs(nodes[0] / modes.length_m() - row.node1) < 1e-3);
    CHECK(std::abs(nodes[1] / modes.length_m() - row.node2) < 1e-3);
  }
}

TEST_CASE("reference: whole arrows, and the film measurements of Park") {
  struct Row {
    ArrowBuild arrow;
    double f1, f2, f3, node1, node2;
  };
  for (const Row& row : {Row{bare_tube_a(), 103.67, 285.8, 560.2, 0.2242, 0.7758},
                         Row{arrow_a(125.0), 73.28, 224.4, 463.6, 0.2259, 0.9157},
                         Row{arrow_a(150.0), 72.36, 223.3, 462.4, 0.2272, 0.9251},
                         Row{arrow_b(), 57.45, 172.2, 352.6, 0.2348, 0.8977}}) {
    const BeamModes modes(row.arrow);
    CAPTURE(row.f1);
    CHECK(modes.frequency_hz(1) == doctest::Approx(row.f1).epsilon(1e-3));
    CHECK(modes.frequency_hz(2) == doctest::Approx(row.f2).epsilon(1e-3));
    CHECK(modes.frequency_hz(3) == doctest::Approx(row.f3).epsilon(1e-3));
    CHECK(std::abs(modes.nodes_m(1)[0] / modes.length_m() - row.node1) < 1e-3);
    CHECK(std::abs(modes.nodes_m(1)[1] / modes.length_m() - row.node2) < 1e-3);
  }
  // J. Park, "Arrows: dynamic behaviour", Bow International: another arrow of the same kind showed
  // nodes about 50 mm from the point and 150 mm from the nock, 80-90 Hz, second mode 210-220 Hz.
  const BeamModes a(arrow_a());
  CHECK(std::abs(1e3 * (a.length_m() - a.nodes_m(1)[1]) - 50.0) < 20.0);
  CHECK(std::abs(1e3 * a.nodes_m(1)[0] - 150.0) < 25.0);
  CHECK(a.frequency_hz(2) == doctest::Approx(215.0).epsilon(0.07));
}

TEST_CASE("unit: shapes are mass-orthonormal and rigid motion is apart from bending") {
  const ArrowBuild arrow = arrow_a();
  const BeamModes modes(arrow);
  // Mass integral by Simpson's rule on a fine mesh, apart from the element matrices.
  Eigen::MatrixXd mass = Eigen::MatrixXd::Zero(modes.count(), modes.count());
  constexpr int kPanels = 4000;
  const double step = modes.length_m() / kPanels;
  for (int i = 0; i <= kPanels; ++i) {
    const double weight = (i == 0 || i == kPanels) ? 1.0 : (i % 2 == 1 ? 4.0 : 2.0);
    const ModeVector shape = modes.shape_at(i * step);
    mass += weight * step / 3.0 * arrow.shaft.mass_per_length_kg_per_m * shape * shape.transpose();
  }
  const ModeVector nock = modes.shape_at(0.0);
  const ModeVector tip = modes.shape_at(modes.length_m());
  mass += arrow.nock_mass_kg * nock * nock.transpose() + arrow.tip_mass_kg * tip * tip.transpose();
  CHECK((mass - Eigen::MatrixXd::Identity(modes.count(), modes.count())).cwiseAbs().maxCoeff() <
        1e-6);
}

TEST_CASE("unit: a tapered tail and a fletching shift the modes as they should") {
  const ArrowBuild plain = arrow_a();
  ArrowBuild tapered = plain;
  tapered.shaft.taper_length_m = 9.0 * kInch;
  tapered.shaft.taper_end_diameter_m = 0.85 * plain.shaft.diameter_m;
  // A lighter, softer tail moves the rear node toward the middle of what is left.
  CHECK(BeamModes(tapered).frequency_hz(1) != doctest::Approx(BeamModes(plain).frequency_hz(1)));
  ArrowBuild fletched = plain;
  fletched.fletching_mass_kg = 9.0 * kGrain;
  // Rayleigh: added mass never raises a frequency.
  CHECK(BeamModes(fletched).frequency_hz(1) < BeamModes(plain).frequency_hz(1));
  CHECK(BeamModes(fletched).frequency_hz(2) < BeamModes(plain).frequency_hz(2));
}

// Timoshenko & Gere, Theory of Elastic Stability (recalled): a bar with hinged ends buckles under
// even compression at pi^2 EI / L^2, under its own weight at 18.6 EI / L^2 (18.569 by a separate
// Ritz computation with twelve sines).
TEST_CASE("reference: Euler and self-weight buckling of the axial compression") {
  ArrowBuild arrow = bare_tube_a();
  const double length = arrow.shaft.length_m;
  const double scale = arrow.shaft.ei_n_m2 / (length * length);

  const double self_weight =
      buckling_acceleration(arrow, {0.0, length}) * arrow.shaft.mass_per_length_kg_per_m * length;
  CHECK(self_weight == doctest::Approx(18.569 * scale).epsilon(5e-3));

  // A tip a thousand times the shaft: compression is even along it.
  arrow.tip_mass_kg = 1000.0 * length * arrow.shaft.mass_per_length_kg_per_m;
  const double even = buckling_acceleration(arrow, {0.0, length}) * arrow.tip_mass_kg;
  const double euler = std::numbers::pi * std::numbers::pi * scale;
  CHECK(even == doctest::Approx(euler).epsilon(5e-3));
  // The example shaft's Euler load lies below an ordinary draw force (160 N): compression matters.
  CHECK(euler == doctest::Approx(92.6).epsilon(1e-3));
  CHECK(euler < 160.0);
}
