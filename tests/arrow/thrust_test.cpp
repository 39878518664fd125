#include "nocktrail/arrow/thrust.hpp"

#include <doctest/doctest.h>

using namespace nocktrail::arrow;

// Closed form of the linear bow: v = sqrt(F0 s / m), t = pi/2 sqrt(m s / F0), with F0 = 160 N,
// s = 0.5 m and 23.78 g + 7.6 g: 50.49 m/s and 15.56 ms, asked to 0.5 %.
TEST_CASE("reference: the linear bow") {
  ThrustInput input;
  input.full_draw_force_n = 160.0;
  input.stroke_m = 0.5;
  input.arrow_mass_kg = 23.78e-3;
  input.virtual_mass_kg = 7.6e-3;
  for (const double step_s : {10e-6, 40e-6, 100e-6}) {
    const ThrustHistory history = thrust_history(input, step_s);
    CHECK(history.exit_speed_mps == doctest::Approx(50.49).epsilon(2e-4));
    CHECK(history.exit_s == doctest::Approx(15.56e-3).epsilon(5e-4));
    CHECK(history.travel_m.back() == doctest::Approx(0.5).epsilon(1e-9));
  }
}

// Energy: what is stored under the force-draw curve, times the efficiency, is the kinetic energy of
// arrow and virtual mass at the exit, whatever the limbs held in between.
TEST_CASE("reference: work and energy over the stroke") {
  ThrustInput input;
  input.full_draw_force_n = 200.0;
  input.stroke_m = 0.48;
  input.early_weight = 0.8;
  input.efficiency = 0.85;
  input.arrow_mass_kg = 25e-3;
  input.virtual_mass_kg = 7e-3;
  // Area under F0 u (1 + c (1-u)^2) over 0..1: 1/2 + c/12.
  const double stored_j = 200.0 * 0.48 * (0.5 + 0.8 / 12.0);
  double last_exit_s = 0.0;
  for (const double limb_kg : {0.0, 20e-3, 40e-3}) {
    input.limb_mass_kg = limb_kg;
    const ThrustHistory history = thrust_history(input, 40e-6);
    const double kinetic_j = 0.5 * 32e-3 * history.exit_speed_mps * history.exit_speed_mps;
    CHECK(kinetic_j == doctest::Approx(0.85 * stored_j).epsilon(1e-6));
    // Limbs take up speed first: the heavier, the later the arrow is away.
    CHECK(history.exit_s > last_exit_s);
    last_exit_s = history.exit_s;
  }
}

TEST_CASE("unit: the curve passes through its ends and steepens toward brace height") {
  ThrustInput input;
  input.full_draw_force_n = 200.0;
  input.stroke_m = 0.5;
  input.early_weight = 0.8;
  CHECK(draw_force_n(input, 0.5) == doctest::Approx(200.0));
  CHECK(draw_force_n(input, 0.0) == 0.0);
  const double slope_at_brace = draw_force_n(input, 1e-6) / 1e-6;
  CHECK(slope_at_brace == doctest::Approx(1.8 * 400.0).epsilon(1e-4));
  // About 2 to 3 lb per inch at full draw of a 45 lb bow (common practice, no source).
  const double last_inch = draw_force_at_n(200.0, 0.489, 0.489 + 0.0254, 0.8) - 200.0;
  CHECK(last_inch / 4.448 > 2.0);
  CHECK(last_inch / 4.448 < 3.0);
  // Beyond the rated draw it goes on straight: never a wall.
  CHECK(draw_force_at_n(200.0, 0.25, 0.75, 0.8) == doctest::Approx(600.0));
}
