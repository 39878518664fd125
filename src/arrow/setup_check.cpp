#include "nocktrail/arrow/setup_check.hpp"

#include <fmt/format.h>

#include <cmath>
#include <utility>

#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/error.hpp"

namespace nocktrail::arrow {
namespace {

using units::kKilogramsPerGrain;
using units::kMetresPerInch;
using units::kNewtonsPerPoundForce;

// Values in the archer's unit, for the message.
void require(const char* field, double value, double low, double high, const char* unit) {
  if (std::isfinite(value) && value >= low && value <= high) {
    return;
  }
  throw BadInput(fmt::format("{}: {:.4g}{} is not possible; give {:g} to {:g}{}", field, value,
                             unit, low, high, unit));
}

void require_inches(const char* field, double value_m, double low_in, double high_in) {
  require(field, value_m / kMetresPerInch, low_in, high_in, "in");
}

void require_grains(const char* field, double value_kg, double low_gr, double high_gr) {
  require(field, value_kg / kKilogramsPerGrain, low_gr, high_gr, "gr");
}

}  // namespace

void check_setup(const Setup& setup) {
  const Bow& bow = setup.bow;
  require("bow.draw_weight", bow.draw_weight_n / kNewtonsPerPoundForce, 10.0, 150.0, "lb");
  require_inches("bow.rated_draw_length", bow.rated_draw_m, 20.0, 34.0);
  require_inches("bow.brace_height", bow.brace_height_m, 4.0, 11.0);
  require_inches("bow.plate_offset", bow.plate_offset_m, -0.5, 1.0);
  require_inches("bow.nocking_point", bow.nocking_point_m, -1.0, 2.0);
  require_inches("archer.draw_length", setup.archer.draw_m, 20.0, 34.0);
  if (bow.brace_min_m) {
    require_inches("bow.brace_min", *bow.brace_min_m, 4.0, 11.0);
  }
  if (bow.brace_max_m) {
    require_inches("bow.brace_max", *bow.brace_max_m, 4.0, 11.0);
  }
  if (bow.min_grains_per_pound) {
    require("bow.min_grains_per_pound", *bow.min_grains_per_pound, 4.0, 16.0, "gr/lb");
  }

  const ArrowBuild& arrow = setup.arrow;
  const Shaft& shaft = arrow.shaft;
  require_inches("arrow.shaft_length", shaft.length_m, 20.0, 36.0);
  require_inches("arrow.diameter", shaft.diameter_m, 0.15, 0.50);
  require("arrow.spine", astm_deflection_in(shaft.ei_n_m2), 0.15, 2.0, "in (ASTM F2031)");
  require("arrow.mass_per_length",
          shaft.mass_per_length_kg_per_m / kKilogramsPerGrain * kMetresPerInch, 3.0, 30.0, "gr/in");
  require_grains("arrow.nock_mass", arrow.nock_mass_kg, 0.0, 60.0);
  require_grains("arrow.tip_mass", arrow.tip_mass_kg, 20.0, 500.0);
  require_grains("arrow.fletching_mass", arrow.fletching_mass_kg, 0.0, 100.0);
  require_inches("arrow.taper_length", shaft.taper_length_m, 0.0, shaft.length_m / kMetresPerInch);
  if (shaft.taper_length_m > 0.0) {
    require_inches("arrow.taper_end_diameter", shaft.taper_end_diameter_m, 0.15,
                   shaft.diameter_m / kMetresPerInch);
  }
}

std::vector<Caution> cautions(const Setup& setup) {
  std::vector<Caution> found;
  const auto add = [&](CautionKind kind, std::string text) {
    found.push_back({kind, std::move(text)});
  };
  const MassProperties mass = mass_properties(setup.arrow);
  const double gpp = grains_per_pound(mass.mass_kg, held_force_n(setup));
  const double maker = setup.bow.min_grains_per_pound.value_or(0.0);
  if (gpp < maker) {
    add(CautionKind::below_maker_mass, fmt::format("The arrow is {:.1f} grains per pound held, "
                                                   "below the {:g} that the bow's maker asks: do "
                                                   "not shoot it from this bow.",
                                                   gpp, maker));
  } else if (gpp < kLeastGrainsPerPound) {
    add(CautionKind::below_floor_mass,
        fmt::format(
            "The arrow is {:.1f} grains per pound held, below the floor of {:g}: so light an arrow "
            "strains a bow as a dry fire does. Do not shoot it.",
            gpp, kLeastGrainsPerPound));
  } else if (gpp < kTraditionalGrainsPerPound && maker == 0.0) {
    add(CautionKind::below_traditional_mass,
        fmt::format("The arrow is {:.1f} grains per pound held; traditional bowyers usually ask 8 "
                    "to 10. The "
                    "bow maker's limit decides.",
                    gpp));
  }
  const double past_rest_m = setup.arrow.shaft.length_m - nock_to_rest_at_full_draw_m(setup.archer);
  if (past_rest_m < 0.0) {
    add(CautionKind::behind_rest, fmt::format("At full draw the shaft ends {:.2f}in behind the "
                                              "rest: it can fall off the shelf and be "
                                              "shot into the bow hand. Do not draw it.",
                                              -past_rest_m / kMetresPerInch));
  } else if (past_rest_m < kLeastPastRest_m) {
    add(CautionKind::near_rest,
        fmt::format(
            "At full draw only {:.2f}in of shaft is left past the rest: trim no further, and mind "
            "overdrawing.",
            past_rest_m / kMetresPerInch));
  }
  const double brace_in = setup.bow.brace_height_m / kMetresPerInch;
  constexpr double kRounding_m = 1e-6;
  if (setup.bow.brace_min_m && setup.bow.brace_height_m < *setup.bow.brace_min_m - kRounding_m) {
    add(CautionKind::below_maker_brace,
        fmt::format("Brace height {:.3g}in is below the {:.3g}in that the bow's maker allows.",
                    brace_in, *setup.bow.brace_min_m / kMetresPerInch));
  }
  if (setup.bow.brace_max_m && setup.bow.brace_height_m > *setup.bow.brace_max_m + kRounding_m) {
    add(CautionKind::above_maker_brace,
        fmt::format("Brace height {:.3g}in is above the {:.3g}in that the bow's maker allows.",
                    brace_in, *setup.bow.brace_max_m / kMetresPerInch));
  }
  return found;
}

}  // namespace nocktrail::arrow
