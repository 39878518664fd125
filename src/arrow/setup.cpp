#include "nocktrail/arrow/setup.hpp"

#include "nocktrail/arrow/spine.hpp"

namespace nocktrail::arrow {

Section section_at(const Shaft& shaft, double from_nock_m) {
  Section section{shaft.ei_n_m2, shaft.mass_per_length_kg_per_m};
  if (from_nock_m < shaft.taper_length_m) {
    const double end = shaft.taper_end_diameter_m / shaft.diameter_m;
    const double ratio = end + (1.0 - end) * from_nock_m / shaft.taper_length_m;
    section.ei_n_m2 *= ratio * ratio * ratio * ratio;
    section.mass_per_length_kg_per_m *= ratio * ratio;
  }
  return section;
}

MassProperties mass_properties(const ArrowBuild& arrow) {
  double mass = 0.0;
  double first = 0.0;
  double second = 0.0;
  const auto add = [&](double m, double at) {
    mass += m;
    first += m * at;
    second += m * at * at;
  };
  const Shaft& shaft = arrow.shaft;
  // Simpson's rule is exact for the parallel part (constant density) and for the taper (a quadratic
  // density) up to the second moment's quartic, which two halves leave at parts in ten thousand;
  // sixteen panels make that negligible.
  const auto add_stretch = [&](double from, double to) {
    constexpr int kPanels = 16;
    const double step = (to - from) / (2 * kPanels);
    for (int i = 0; i <= 2 * kPanels; ++i) {
      const double weight = (i == 0 || i == 2 * kPanels) ? 1.0 : (i % 2 == 1 ? 4.0 : 2.0);
      const double at = from + step * i;
      // The density is continuous, so the end of the taper may be read from either side.
      add(section_at(shaft, at).mass_per_length_kg_per_m * weight * step / 3.0, at);
    }
  };
  if (shaft.taper_length_m > 0.0) {
    add_stretch(0.0, shaft.taper_length_m);
  }
  add_stretch(shaft.taper_length_m, shaft.length_m);
  add(arrow.nock_mass_kg, 0.0);
  add(arrow.tip_mass_kg, shaft.length_m);
  add(arrow.fletching_mass_kg, arrow.fletching_from_nock_m);

  MassProperties result;
  result.mass_kg = mass;
  result.balance_m = first / mass;
  result.inertia_kg_m2 = second - mass * result.balance_m * result.balance_m;
  result.foc_percent = 100.0 * (result.balance_m - 0.5 * shaft.length_m) / shaft.length_m;
  return result;
}

double nock_to_rest_at_full_draw_m(const Archer& archer) {
  return nock_to_pivot_m(archer.draw_m);
}

double power_stroke_m(const Setup& setup) {
  return nock_to_rest_at_full_draw_m(setup.archer) - setup.bow.brace_height_m;
}

double grains_per_pound(double arrow_mass_kg, double held_n) {
  return arrow_mass_kg / units::kKilogramsPerGrain / (held_n / units::kNewtonsPerPoundForce);
}

double energy_ft_lbf(double mass_kg, double speed_mps) {
  return 0.5 * mass_kg * speed_mps * speed_mps /
         (units::kNewtonsPerPoundForce * units::kMetresPerFoot);
}

double momentum_slug_fps(double mass_kg, double speed_mps) {
  const double kg_per_slug = units::kNewtonsPerPoundForce / units::kMetresPerFoot;
  return mass_kg / kg_per_slug * speed_mps / units::kMetresPerFoot;
}

}  // namespace nocktrail::arrow
