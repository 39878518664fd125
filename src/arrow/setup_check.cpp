#include "nocktrail/arrow/setup_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
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

// In the archer's unit.
struct Range {
  std::string_view field;
  double low;
  double high;
  std::string_view unit;
};
constexpr std::array kRanges{
    Range{"bow.draw_weight", 10.0, 150.0, "lb"},
    Range{"bow.rated_draw_length", 20.0, 34.0, "in"},
    Range{"bow.brace_height", 4.0, 11.0, "in"},
    Range{"bow.plate_offset", -0.5, 1.0, "in"},
    Range{"bow.nocking_point", -1.0, 2.0, "in"},
    Range{"bow.brace_min", 4.0, 11.0, "in"},
    Range{"bow.brace_max", 4.0, 11.0, "in"},
    Range{"bow.min_grains_per_pound", 4.0, 16.0, "gr/lb"},
    Range{"archer.draw_length", 20.0, 34.0, "in"},
    Range{"arrow.shaft_length", 20.0, 36.0, "in"},
    Range{"arrow.diameter", 0.15, 0.50, "in"},
    Range{"arrow.spine", 0.15, 2.0, "in (ASTM F2031)"},
    Range{"arrow.mass_per_length", 3.0, 30.0, "gr/in"},
    Range{"arrow.nock_mass", 0.0, 60.0, "gr"},
    Range{"arrow.tip_mass", 20.0, 500.0, "gr"},
    Range{"arrow.fletching_mass", 0.0, 100.0, "gr"},
};

const Range* range_of(std::string_view field) {
  const auto* found = std::find_if(kRanges.begin(), kRanges.end(),
                                   [&](const Range& range) { return range.field == field; });
  return found == kRanges.end() ? nullptr : found;
}

std::string in_words(const Range& range) {
  return fmt::format("{:g} to {:g}{}", range.low, range.high, range.unit);
}

void require(const Range& range, double value) {
  if (!std::isfinite(value) || value < range.low || value > range.high) {
    throw BadInput(fmt::format("{}: {:.4g}{} is not possible; give {}", range.field, value,
                               range.unit, in_words(range)));
  }
}

void require(std::string_view field, double value_si, double unit_si) {
  require(*range_of(field), value_si / unit_si);
}

void require(std::string_view field, const std::optional<double>& value_si, double unit_si) {
  if (value_si) {
    require(field, *value_si, unit_si);
  }
}

}  // namespace

std::string accepted_range(std::string_view field) {
  const Range* range = range_of(field);
  return range == nullptr ? std::string() : in_words(*range);
}

void check_setup(const Setup& setup) {
  const Bow& bow = setup.bow;
  require("bow.draw_weight", bow.draw_weight_n, kNewtonsPerPoundForce);
  require("bow.rated_draw_length", bow.rated_draw_m, kMetresPerInch);
  require("bow.brace_height", bow.brace_height_m, kMetresPerInch);
  require("bow.plate_offset", bow.plate_offset_m, kMetresPerInch);
  require("bow.nocking_point", bow.nocking_point_m, kMetresPerInch);
  require("archer.draw_length", setup.archer.draw_m, kMetresPerInch);
  require("bow.brace_min", bow.brace_min_m, kMetresPerInch);
  require("bow.brace_max", bow.brace_max_m, kMetresPerInch);
  require("bow.min_grains_per_pound", bow.min_grains_per_pound, 1.0);

  const ArrowBuild& arrow = setup.arrow;
  const Shaft& shaft = arrow.shaft;
  require("arrow.shaft_length", shaft.length_m, kMetresPerInch);
  require("arrow.diameter", shaft.diameter_m, kMetresPerInch);
  require("arrow.spine", astm_deflection_in(shaft.ei_n_m2), 1.0);
  require("arrow.mass_per_length", shaft.mass_per_length_kg_per_m,
          kKilogramsPerGrain / kMetresPerInch);
  require("arrow.nock_mass", arrow.nock_mass_kg, kKilogramsPerGrain);
  require("arrow.tip_mass", arrow.tip_mass_kg, kKilogramsPerGrain);
  require("arrow.fletching_mass", arrow.fletching_mass_kg, kKilogramsPerGrain);
  require({"arrow.taper_length", 0.0, shaft.length_m / kMetresPerInch, "in"},
          shaft.taper_length_m / kMetresPerInch);
  if (shaft.taper_length_m > 0.0) {
    require({"arrow.taper_end_diameter", 0.15, shaft.diameter_m / kMetresPerInch, "in"},
            shaft.taper_end_diameter_m / kMetresPerInch);
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
