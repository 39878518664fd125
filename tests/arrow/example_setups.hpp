// Set-ups that several tests share. All invented.
#pragma once

#include "nocktrail/arrow/setup.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::arrow::examples {

inline constexpr double kInch = units::kMetresPerInch;
inline constexpr double kGrain = units::kKilogramsPerGrain;
inline constexpr double kPound = units::kNewtonsPerPoundForce;

// "Arrow A" of the project's trade facts: ASTM 0.500 in, 8.0 gr/in, 29 in.
inline ArrowBuild bare_tube_a() {
  ArrowBuild arrow;
  arrow.shaft.length_m = 29.0 * kInch;
  arrow.shaft.ei_n_m2 = ei_from_astm_deflection(0.500);
  arrow.shaft.mass_per_length_kg_per_m = 8.0 * kGrain / kInch;
  arrow.shaft.diameter_m = 0.30 * kInch;
  return arrow;
}

inline ArrowBuild arrow_a(double tip_gr = 125.0) {
  ArrowBuild arrow = bare_tube_a();
  arrow.nock_mass_kg = 10.0 * kGrain;
  arrow.tip_mass_kg = tip_gr * kGrain;
  return arrow;
}

// "Arrow B": wood 50 lb, 370 gr in 32 in, cut to 29 in, 8 gr nock, 125 gr tip.
inline ArrowBuild arrow_b() {
  ArrowBuild arrow;
  arrow.shaft.length_m = 29.0 * kInch;
  arrow.shaft.ei_n_m2 = ei_from_wood_pounds(50.0);
  arrow.shaft.mass_per_length_kg_per_m = 370.0 * kGrain / (32.0 * kInch);
  arrow.shaft.diameter_m = 11.0 / 32.0 * kInch;
  arrow.shaft.groups = SpineGroups::pounds;
  arrow.nock_mass_kg = 8.0 * kGrain;
  arrow.tip_mass_kg = 125.0 * kGrain;
  return arrow;
}

inline Setup longbow_with(const ArrowBuild& arrow) {
  Setup setup;
  setup.bow.draw_weight_n = 45.0 * kPound;
  setup.bow.brace_height_m = 7.25 * kInch;
  setup.bow.plate_offset_m = kInch / 16.0;
  setup.bow.nocking_point_m = 0.5 * kInch;
  setup.arrow = arrow;
  return setup;
}

}  // namespace nocktrail::arrow::examples
