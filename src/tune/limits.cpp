#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/tune/gate.hpp"

namespace nocktrail::tune {
namespace {

// Common practice, no source; on the careful side.
constexpr double kHeavyShaft_kg_per_m = 12.0 * units::kKilogramsPerGrain / units::kMetresPerInch;
// So much may parts that were added up, not weighed together, be off.
constexpr double kAddedUp_kg = 5.0 * units::kKilogramsPerGrain;

}  // namespace

bool Limits::trim_allowed(double trim_m) const {
  if (!unknown_for_shorter.empty() || trim_m > longest_trim_m + 1e-9) {
    return false;
  }
  return lighter_allowed(trim_m * shaft_mass_per_length_kg_per_m);
}

bool Limits::lighter_allowed(double less_kg) const {
  return unknown_for_lighter.empty() && spare_kg - less_kg >= -1e-9;
}

Limits limits_of(const SetupFacts& facts) {
  const arrow::LimitFacts bare = bare_limit_facts(facts);
  Limits limits;
  limits.unknown_for_lighter = arrow::unknown_for_lighter(bare);
  limits.unknown_for_shorter = arrow::unknown_for_shorter(bare);
  if (const auto shortest_m = arrow::shortest_shaft_m(bare); shortest_m && bare.shaft_length_m) {
    limits.longest_trim_m = std::max(0.0, *bare.shaft_length_m - *shortest_m);
  }
  if (const auto least_kg = arrow::lightest_kg(bare); least_kg && bare.arrow_mass_kg) {
    limits.spare_kg = *bare.arrow_mass_kg - *least_kg;
    if (!facts.arrow.total_mass_kg) {
      limits.spare_kg -= kAddedUp_kg;
    }
  }
  limits.shaft_mass_per_length_kg_per_m =
      facts.arrow.mass_per_length_kg_per_m.value_or(kHeavyShaft_kg_per_m);
  return limits;
}

std::string least_mass_words(const SetupFacts& facts) {
  const arrow::LimitFacts limits = limit_facts(facts);
  const auto least_kg = arrow::lightest_kg(limits);
  return least_kg ? fmt::format(
                        " Weaker shafts are lighter: the arrow must weigh {:.0f} gr or more ({}), "
                        "so weigh one before it is shot.",
                        std::ceil(*least_kg / units::kKilogramsPerGrain - 1e-6),
                        arrow::whose_mass_limit(limits))
                  : " Weaker shafts are lighter, and what the bow may shoot is not known: tell its "
                    "draw weight, and weigh one before it is shot.";
}

}  // namespace nocktrail::tune
