#include <doctest/doctest.h>

#include "example_setups.hpp"
#include "nocktrail/arrow/setup.hpp"
#include "nocktrail/arrow/spine.hpp"

using namespace nocktrail::arrow;
using namespace nocktrail::arrow::examples;
namespace units = nocktrail::units;

// Worked by hand from the beam formula (Roark; Timoshenko) and the two published test geometries:
// ASTM F2031 (28 in, 1.94 lb) and Nagler & Rheingans 1947 (26 in, 2 lb).
TEST_CASE("reference: spine conventions and EI") {
  CHECK(ei_from_astm_deflection(0.500) == doctest::Approx(5.0924).epsilon(1e-4));
  CHECK(ei_from_wood_pounds(50.0) == doctest::Approx(4.0417).epsilon(1e-4));
  CHECK(astm_deflection_in(ei_from_wood_pounds(50.0)) == doctest::Approx(0.630).epsilon(1e-3));
  struct Row {
    double astm_in, ei, wood_in, pounds;
  };
  for (const Row& row : {Row{0.300, 8.487, 0.2476, 105.0}, Row{0.400, 6.365, 0.3302, 78.7},
                         Row{0.500, 5.092, 0.4127, 63.0}, Row{0.630, 4.042, 0.5200, 50.0},
                         Row{0.700, 3.637, 0.5778, 45.0}}) {
    CAPTURE(row.astm_in);
    const double ei = ei_from_astm_deflection(row.astm_in);
    CHECK(ei == doctest::Approx(row.ei).epsilon(2e-4));
    CHECK(wood_deflection_in(ei) == doctest::Approx(row.wood_in).epsilon(2e-4));
    CHECK(wood_pounds(ei) == doctest::Approx(row.pounds).epsilon(1e-3));
    CHECK(astm_deflection_in(ei) == doctest::Approx(row.astm_in).epsilon(1e-12));
  }
}

// 20/64 in over a 0.013 in wall, E = 71 GPa (aluminium alloy): second moment of a circular ring.
TEST_CASE("reference: stiffness of a tube from material and section") {
  const double ei = ei_of_tube(71e9, 20.0 / 64.0 * kInch, 0.013 * kInch);
  CHECK(ei == doctest::Approx(4.061).epsilon(5e-4));
  CHECK(astm_deflection_in(ei) == doctest::Approx(0.627).epsilon(1e-3));
  const double solid = ei_of_tube(10e9, 0.01, 0.01);
  CHECK(solid == doctest::Approx(10e9 * 3.14159265 * 1e-8 / 64.0));
}

TEST_CASE("reference: AMO draw length, FP-3 (2000): 26 1/4 in to the pivot is 28 in") {
  CHECK(amo_draw_m(26.25 * kInch) == doctest::Approx(28.0 * kInch).epsilon(1e-12));
  CHECK(nock_to_pivot_m(28.0 * kInch) == doctest::Approx(26.25 * kInch).epsilon(1e-12));
}

TEST_CASE("reference: balance and FOC of the worked arrows") {
  // FOC is common practice; the arithmetic for arrows A and B was done apart from this code.
  const MassProperties a = mass_properties(arrow_a());
  CHECK(a.mass_kg / kGrain == doctest::Approx(367.0).epsilon(1e-6));
  CHECK(a.foc_percent == doctest::Approx(15.67).epsilon(5e-4));
  CHECK(mass_properties(arrow_a(150.0)).foc_percent == doctest::Approx(17.86).epsilon(5e-4));
  const MassProperties b = mass_properties(arrow_b());
  CHECK(b.mass_kg / kGrain == doctest::Approx(468.3).epsilon(1e-4));
  CHECK(b.foc_percent == doctest::Approx(12.49).epsilon(5e-4));
  CHECK(mass_properties(bare_tube_a()).foc_percent == doctest::Approx(0.0));
  // 18.5 in of 29 in is 13.79 %.
  CHECK(100.0 * (18.5 - 14.5) / 29.0 == doctest::Approx(13.79).epsilon(1e-3));
  // A uniform rod's inertia about its middle: m L^2 / 12.
  const MassProperties rod = mass_properties(bare_tube_a());
  CHECK(rod.inertia_kg_m2 ==
        doctest::Approx(rod.mass_kg * 29.0 * 29.0 * kInch * kInch / 12.0).epsilon(1e-12));
}

TEST_CASE("reference: a tapered tail weighs as a truncated cone") {
  // Cone frustum volume h (1 + k + k^2) / 3 of the full cylinder, k the ratio of diameters.
  ArrowBuild arrow = bare_tube_a();
  arrow.shaft.taper_length_m = 9.0 * kInch;
  arrow.shaft.taper_end_diameter_m = 0.8 * arrow.shaft.diameter_m;
  const double expected_in = 20.0 + 9.0 * (1.0 + 0.8 + 0.64) / 3.0;
  CHECK(mass_properties(arrow).mass_kg / kGrain == doctest::Approx(8.0 * expected_in));
}

TEST_CASE("reference: grains per pound, energy, momentum") {
  // 450 gr at 180 ft/s: 450 * 180^2 / 450437 ft lbf and 450 * 180 / 225218 slug ft/s (textbook
  // constants of ballistics).
  const double mass = 450.0 * kGrain;
  const double speed = 180.0 * units::kMetresPerFoot;
  CHECK(energy_ft_lbf(mass, speed) == doctest::Approx(32.37).epsilon(3e-4));
  CHECK(momentum_slug_fps(mass, speed) == doctest::Approx(0.3597).epsilon(3e-4));
  CHECK(grains_per_pound(mass, 45.0 * kPound) == doctest::Approx(10.0).epsilon(1e-9));
}
