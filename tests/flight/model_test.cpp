#include <doctest/doctest.h>

#include <cmath>

#include "nocktrail/flight/model.hpp"

using namespace nocktrail;

TEST_CASE("reference: bending shape has the nodes of the end-mass table") {
  // Free-free beam with point masses 0.03 (nock) and 0.25 (tip) of its own: nodes at 0.2270 and
  // 0.8744 of the length (Blevins' end conditions, recomputed by finite elements).
  const auto root = [](double a, double b) {
    for (int i = 0; i < 60; ++i) {
      const double m = 0.5 * (a + b);
      (flight::bending_shape(a, 0.25) * flight::bending_shape(m, 0.25) <= 0 ? b : a) = m;
    }
    return 0.5 * (a + b);
  };
  CHECK(flight::bending_shape(0.0, 0.25) == doctest::Approx(1.0));
  CHECK(root(0.1, 0.4) == doctest::Approx(0.2270).epsilon(0.0005 / 0.227));
  CHECK(root(0.7, 0.98) == doctest::Approx(0.8744).epsilon(0.0005 / 0.8744));
}

TEST_CASE("reference: bending shape is orthogonal by mass to translation and rotation") {
  // Meirovitch, Fundamentals of Vibrations: elastic modes of a free body carry no momentum.
  double momentum = 0.03 * flight::bending_shape(0, 0.25) + 0.25 * flight::bending_shape(1, 0.25);
  double angular = 0.25 * flight::bending_shape(1, 0.25);
  constexpr int kSteps = 20000;
  for (int i = 0; i < kSteps; ++i) {
    const double s = (i + 0.5) / kSteps;
    momentum += flight::bending_shape(s, 0.25) / kSteps;
    angular += s * flight::bending_shape(s, 0.25) / kSteps;
  }
  CHECK(std::abs(momentum) < 1e-4);
  CHECK(std::abs(angular) < 1e-4);
}

TEST_CASE("reference: yaw closed form satisfies its equation and its integrals") {
  // A worked example of the textbook equation (docs/arrow-model.md): wavelength 13.73 m, damping
  // 0.121.
  const double kappa = 2 * M_PI / 13.73;
  const double zeta = 0.121;
  const double a0 = 0.05;
  const double b0 = -0.02;
  double a = a0, b = b0, integral = 0.0, twice = 0.0;
  const double h = 1e-5;
  for (int i = 0; i < 400000; ++i) {  // to 4 m, midpoint rule
    const double am = a + 0.5 * h * b;
    const double bm = b + 0.5 * h * (-2 * zeta * kappa * b - kappa * kappa * a);
    twice += h * (integral + 0.5 * h * a);
    integral += h * am;
    a += h * bm;
    b += h * (-2 * zeta * kappa * bm - kappa * kappa * am);
  }
  const flight::Yaw<double> yaw = flight::yaw_at(a0, b0, kappa, zeta, 4.0);
  CHECK(yaw.value == doctest::Approx(a).epsilon(1e-6));
  CHECK(yaw.rate == doctest::Approx(b).epsilon(1e-6));
  CHECK(yaw.kappa2_integral == doctest::Approx(kappa * kappa * integral).epsilon(1e-5));
  CHECK(yaw.kappa2_twice == doctest::Approx(kappa * kappa * twice).epsilon(1e-5));
}
