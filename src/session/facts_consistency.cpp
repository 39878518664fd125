#include "facts_consistency.hpp"

#include <fmt/format.h>

#include <cmath>

#include "nocktrail/units/units.hpp"

namespace nocktrail::session {
namespace {

// Of scales and rulers: parts that add up to this little more than the whole do not contradict it.
constexpr double kMassSlack = 0.02;
constexpr double kLengthSlack_m = 0.5e-3;
// Nor does a whole that is heavier than its parts by less than glue, finish, a collar and an insert
// may weigh (common practice, no source). Beyond it is a slip, and one that passes a light arrow.
constexpr double kMostBesideParts = 0.25;
constexpr double kMostBesideParts_kg = 30.0 * units::kKilogramsPerGrain;
// Of the same shaft measured twice.
constexpr double kSpineSlack = 0.02;
constexpr double kDiameterSlack_m = 0.1e-3;

std::string inches(double length_m) {
  return units::format_length(length_m, units::LengthUnit::in, 5);
}
std::string grains(double mass_kg) {
  return units::format_mass(mass_kg, units::MassUnit::gr, 4);
}

// The change of a part's mass; empty when it changed from or to something not told.
std::optional<double> change(const std::optional<double>& before,
                             const std::optional<double>& after) {
  if (before && after) {
    return *after - *before;
  }
  return before.has_value() == after.has_value() ? std::optional<double>(0.0) : std::nullopt;
}

std::optional<double> fletching_kg(const tune::ArrowFacts& arrow) {
  return arrow.fletching == tune::Fletching::bare ? std::optional<double>(0.0)
                                                  : arrow.fletching_mass_kg;
}

std::optional<double> change_of_fletching(const tune::ArrowFacts& before,
                                          const tune::ArrowFacts& after) {
  const std::optional<double> old_kg = fletching_kg(before);
  const std::optional<double> new_kg = fletching_kg(after);
  if (before.fletching == after.fletching && !old_kg && !new_kg) {
    return 0.0;
  }
  return old_kg && new_kg ? std::optional<double>(*new_kg - *old_kg) : std::nullopt;
}

// Of the shaft itself, by its length and its mass per length.
std::optional<double> change_of_shaft(const tune::ArrowFacts& before,
                                      const tune::ArrowFacts& after) {
  if (before.shaft_length_m == after.shaft_length_m &&
      before.mass_per_length_kg_per_m == after.mass_per_length_kg_per_m) {
    return 0.0;
  }
  if (!before.shaft_length_m || !after.shaft_length_m || !before.mass_per_length_kg_per_m ||
      !after.mass_per_length_kg_per_m) {
    return std::nullopt;
  }
  // Trimmed at the full-diameter end, so a taper does not matter.
  return *after.mass_per_length_kg_per_m * *after.shaft_length_m -
         *before.mass_per_length_kg_per_m * *before.shaft_length_m;
}

bool differ(const std::optional<double>& before, const std::optional<double>& after, double slack) {
  return before && after && std::abs(*after - *before) > slack;
}

bool other_name(const tune::ArrowFacts& before, const tune::ArrowFacts& after) {
  return !before.name.empty() && !after.name.empty() && before.name != after.name;
}

// Another name, spine or thickness is another shaft, of which nothing measured before holds.
bool other_shaft(const tune::ArrowFacts& before, const tune::ArrowFacts& after) {
  const bool other_spine =
      before.spine && after.spine &&
      (before.spine->convention != after.spine->convention ||
       std::abs(after.spine->value - before.spine->value) > kSpineSlack * before.spine->value);
  return other_name(before, after) || other_spine ||
         differ(before.diameter_m, after.diameter_m, kDiameterSlack_m);
}

}  // namespace

void carry_along(const tune::ArrowFacts& before, const ArrowTold& told, tune::ArrowFacts& arrow) {
  if (!told.arrow_length && before.arrow_length_m && before.shaft_length_m &&
      arrow.shaft_length_m) {
    arrow.arrow_length_m = *before.arrow_length_m + *arrow.shaft_length_m - *before.shaft_length_m;
  }
  if (other_shaft(before, arrow)) {
    // Nor is it tapered as the other was, where it says nothing of that.
    if (arrow.taper_length_m == before.taper_length_m &&
        arrow.taper_end_diameter_m == before.taper_end_diameter_m) {
      arrow.taper_length_m.reset();
      arrow.taper_end_diameter_m.reset();
    }
    if (!told.shaft_length) {
      arrow.shaft_length_m.reset();
    }
    if (!told.arrow_length) {
      arrow.arrow_length_m.reset();
    }
    if (other_name(before, arrow) && !told.spine) {
      arrow.spine.reset();
    }
    if (other_name(before, arrow) && !told.diameter) {
      arrow.diameter_m.reset();
    }
    if (!told.shaft_mass) {
      arrow.mass_per_length_kg_per_m.reset();
    }
    if (!told.total_mass) {
      arrow.total_mass_kg.reset();
    }
    return;
  }
  if (told.total_mass || !before.total_mass_kg) {
    return;
  }
  const std::optional<double> parts[] = {change(before.tip_mass_kg, arrow.tip_mass_kg),
                                         change(before.nock_mass_kg, arrow.nock_mass_kg),
                                         change_of_fletching(before, arrow),
                                         change_of_shaft(before, arrow)};
  double total = *before.total_mass_kg;
  for (const std::optional<double>& part : parts) {
    if (!part) {
      arrow.total_mass_kg.reset();
      return;
    }
    total += *part;
  }
  arrow.total_mass_kg = total;
}

std::optional<Contradiction> contradiction_in(const tune::ArrowFacts& arrow) {
  if (arrow.shaft_length_m && arrow.arrow_length_m &&
      *arrow.arrow_length_m < *arrow.shaft_length_m - kLengthSlack_m) {
    return Contradiction{
        {"arrow_length", "shaft_length", "shaft_length"},
        fmt::format(": an arrow of {}, to the end of its point, cannot have a shaft of {}; "
                    "mend arrow_length or shaft_length",
                    inches(*arrow.arrow_length_m), inches(*arrow.shaft_length_m))};
  }
  if (arrow.shaft_length_m && arrow.taper_length_m &&
      *arrow.taper_length_m > *arrow.shaft_length_m) {
    return Contradiction{{"taper_length", "shaft_length", "shaft_length"},
                         fmt::format(": a taper of {} is longer than the shaft of {}",
                                     inches(*arrow.taper_length_m), inches(*arrow.shaft_length_m))};
  }
  if (arrow.taper_length_m.value_or(0.0) > 0.0 && arrow.taper_end_diameter_m && arrow.diameter_m &&
      *arrow.taper_end_diameter_m > *arrow.diameter_m + kDiameterSlack_m) {
    return Contradiction{
        {"taper_end_diameter", "diameter", "diameter"},
        fmt::format(": a taper that ends at {} is no taper of a shaft of {}",
                    inches(*arrow.taper_end_diameter_m), inches(*arrow.diameter_m))};
  }
  double parts_kg = arrow.tip_mass_kg.value_or(0.0) + arrow.nock_mass_kg.value_or(0.0) +
                    arrow.fletching_mass_kg.value_or(0.0);
  // What a taper takes off is not known to the grain: without any of it, and with all.
  double taper_kg = 0.0;
  if (arrow.shaft_length_m && arrow.mass_per_length_kg_per_m) {
    taper_kg = arrow.taper_length_m.value_or(0.0) * *arrow.mass_per_length_kg_per_m;
    parts_kg += *arrow.shaft_length_m * *arrow.mass_per_length_kg_per_m - taper_kg;
  }
  if (arrow.total_mass_kg && parts_kg > *arrow.total_mass_kg * (1.0 + kMassSlack)) {
    return Contradiction{{"total_mass", "mass_per_length", "tip_mass"},
                         fmt::format(": a total of {} is less than the parts told, {} together; "
                                     "weigh again, or leave total_mass out",
                                     grains(*arrow.total_mass_kg), grains(parts_kg))};
  }
  const std::optional<double> feathers_kg = fletching_kg(arrow);
  const bool all_told = arrow.shaft_length_m && arrow.mass_per_length_kg_per_m &&
                        arrow.tip_mass_kg && arrow.nock_mass_kg && feathers_kg;
  parts_kg += taper_kg;
  if (arrow.total_mass_kg && all_told &&
      *arrow.total_mass_kg > parts_kg * (1.0 + kMostBesideParts) + kMostBesideParts_kg) {
    return Contradiction{{"total_mass", "mass_per_length", "tip_mass"},
                         fmt::format(": a total of {} is far more than the parts told, {} "
                                     "together; weigh again, or leave total_mass out",
                                     grains(*arrow.total_mass_kg), grains(parts_kg))};
  }
  return std::nullopt;
}

}  // namespace nocktrail::session
