#include "nocktrail/arrow/free_flight.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "example_setups.hpp"

using namespace nocktrail::arrow;
using namespace nocktrail::arrow::examples;
namespace units = nocktrail::units;

namespace {
Weathercock example_fletched() {
  return weathercock(30.35e-3, 0.001895, 1.26e-3, 0.35);
}
}  // namespace

// Worked by hand from the linearised yaw equation (textbook form, McCoy, Modern Exterior
// Ballistics): I 0.001895 kg m2, m 30.35 g, A 1.26e-3 m2, 1.5 per rad, 0.35 m, 1.2 kg/m3.
TEST_CASE("reference: the fletched example") {
  const Weathercock air = example_fletched();
  const double wavelength_m = 2.0 * std::numbers::pi / air.kappa_per_m;
  CHECK(wavelength_m == doctest::Approx(13.73).epsilon(5e-4));
  CHECK(55.0 / wavelength_m == doctest::Approx(4.01).epsilon(1e-3));
  CHECK(air.damping_ratio == doctest::Approx(0.121).epsilon(5e-3));
}

TEST_CASE("reference: flight follows the damped oscillator's closed form") {
  const Weathercock air = example_fletched();
  const Incidence start{units::rad_from_deg(3.0), units::rad_from_deg(-0.8)};
  const double decay = air.damping_ratio * air.kappa_per_m;
  const double wave = air.kappa_per_m * std::sqrt(1.0 - air.damping_ratio * air.damping_ratio);
  for (const double x : {0.5, 2.0, 5.0, 13.73, 30.0}) {
    const double expected =
        std::exp(-decay * x) *
        (start.angle_rad * std::cos(wave * x) +
         (start.slope_rad_per_m + decay * start.angle_rad) / wave * std::sin(wave * x));
    CHECK(fly(start, x, air).angle_rad == doctest::Approx(expected).epsilon(1e-6));
  }
  // x0.47 per undamped wavelength, so a fletched reading passes zero near a quarter of one.
  CHECK(std::exp(-decay * 13.73) == doctest::Approx(0.47).epsilon(0.01));
  CHECK(fly({0.05, 0.0}, 13.73 / 4.0 * 1.15, air).angle_rad < 0.0);
}

// Cross-flow on a bare shaft, by hand: 3 deg at 55 m/s, diameter 7.5 mm, arm 92 mm shifts the
// angle by 0.11 deg in 50 ms and 0.42 deg in 100 ms.
TEST_CASE("reference: a bare shaft keeps its rate over the first metres") {
  ArrowBuild arrow = arrow_b();
  arrow.shaft.diameter_m = 7.5e-3;
  const Weathercock air = weathercock(arrow);
  CHECK(air.kappa_per_m == 0.0);
  const Incidence start{units::rad_from_deg(3.0), 0.0};
  const double arm = mass_properties(arrow).balance_m - 0.5 * arrow.shaft.length_m;
  REQUIRE(arm == doctest::Approx(0.092).epsilon(0.01));
  CHECK(3.0 - units::deg_from_rad(fly(start, 2.75, air).angle_rad) ==
        doctest::Approx(0.11).epsilon(0.1));
  CHECK(3.0 - units::deg_from_rad(fly(start, 5.5, air).angle_rad) ==
        doctest::Approx(0.42).epsilon(0.1));
}

TEST_CASE("unit: flight is odd in the angle and free without air") {
  const Weathercock air = weathercock(arrow_a());
  const Incidence start{0.04, 0.01};
  CHECK(fly(start, 2.0, air).angle_rad == -fly({-0.04, -0.01}, 2.0, air).angle_rad);
  CHECK(fly(start, 2.0, {}).angle_rad == doctest::Approx(0.06).epsilon(1e-12));
}
