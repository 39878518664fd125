#include "nocktrail/arrow/setup_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

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
    Range{"bow.string_mass", 30.0, 400.0, "gr"},
    Range{"bow.max_draw_length", 20.0, 36.0, "in"},
    Range{"bow.max_draw_weight", 10.0, 200.0, "lb"},
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
  require("bow.string_mass", bow.string_mass_kg, kKilogramsPerGrain);
  require("bow.max_draw_length", bow.max_draw_m, kMetresPerInch);
  require("bow.max_draw_weight", bow.max_draw_weight_n, kNewtonsPerPoundForce);
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

}  // namespace nocktrail::arrow
