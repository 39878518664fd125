#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/arrow/setup_check.hpp"

namespace nocktrail::tune {
namespace {

// Common practice, no source; on the careful side.
constexpr double kHeavyShaft_kg_per_m = 12.0 * units::kKilogramsPerGrain / units::kMetresPerInch;
// Bows gain 2 to 3 lb an inch; drawn past the rated draw, rather more.
constexpr double kSteepGain_n_per_m = 4.0 * units::kNewtonsPerPoundForce / units::kMetresPerInch;
constexpr double kHeavyFletching_kg = 30.0 * units::kKilogramsPerGrain;

}  // namespace

bool Limits::trim_allowed(double trim_m) const {
  if (longest_trim_m && trim_m > *longest_trim_m + 1e-9) {
    return false;
  }
  return lighter_allowed(trim_m * shaft_mass_per_length_kg_per_m);
}

bool Limits::lighter_allowed(double less_kg) const {
  return !lightest_kg || !arrow_mass_kg || *arrow_mass_kg - less_kg >= *lightest_kg;
}

Limits limits_of(const SetupFacts& facts, const ModelSetup& model) {
  Limits limits;
  if (facts.draw_m && facts.arrow.shaft_length_m) {
    limits.longest_trim_m =
        std::max(0.0, *facts.arrow.shaft_length_m - shortest_safe_m(*facts.draw_m));
  }
  const double grains_per_pound =
      std::max(facts.bow.min_grains_per_pound.value_or(0.0), arrow::kLeastGrainsPerPound);
  std::optional<double> held_n = facts.bow.draw_weight_n;
  if (model.setup) {
    held_n = arrow::held_force_n(*model.setup);
  } else if (held_n && facts.draw_m) {
    const double beyond_m =
        *facts.draw_m - facts.bow.rated_draw_m.value_or(28.0 * units::kMetresPerInch);
    held_n = *held_n + std::max(0.0, beyond_m) * kSteepGain_n_per_m;
  }
  if (held_n) {
    limits.lightest_kg =
        grains_per_pound * units::kKilogramsPerGrain * *held_n / units::kNewtonsPerPoundForce;
  }
  limits.shaft_mass_per_length_kg_per_m =
      facts.arrow.mass_per_length_kg_per_m.value_or(kHeavyShaft_kg_per_m);
  if (model.setup) {
    // Without the fletching: the same shaft is to be shot bare, and its mass may be assumed.
    arrow::ArrowBuild bare = model.setup->arrow;
    bare.fletching_mass_kg = 0.0;
    limits.arrow_mass_kg = arrow::mass_properties(bare).mass_kg;
    limits.shaft_mass_per_length_kg_per_m = model.setup->arrow.shaft.mass_per_length_kg_per_m;
  }
  // A weighed arrow is better than one added up; the lighter of the two is the careful one.
  if (facts.arrow.total_mass_kg) {
    const double off_kg = facts.arrow.fletching == Fletching::fletched ? kHeavyFletching_kg : 0.0;
    limits.arrow_mass_kg =
        std::min(*facts.arrow.total_mass_kg - off_kg, limits.arrow_mass_kg.value_or(1.0));
  }
  return limits;
}

}  // namespace nocktrail::tune
