#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/effects.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "spine_groups.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kInch = units::kMetresPerInch;

// A shaft of another stiffness, its mass along with the square root of it (starting_range's rule).
Shaft of_stiffness(Shaft shaft, double ei_n_m2) {
  shaft.mass_per_length_kg_per_m *= std::sqrt(ei_n_m2 / shaft.ei_n_m2);
  shaft.ei_n_m2 = ei_n_m2;
  return shaft;
}

Shaft group_away(const Shaft& shaft, int steps_weaker) {
  if (shaft.groups == SpineGroups::pounds) {
    const double pounds = wood_pounds(shaft.ei_n_m2) - steps_weaker * kWoodGroup_lb;
    return of_stiffness(shaft, ei_from_wood_pounds(std::max(pounds, kWoodGroup_lb)));
  }
  // Between two steps, the neighbours count from the stated spine, which need not be one.
  const double stated = astm_deflection_in(shaft.ei_n_m2);
  constexpr double kSame = 0.02;  // of a step
  const double steps = stated / kDeflectionStep_in;
  const double next = steps_weaker > 0 ? std::floor(steps + kSame) + 1.0
                                       : std::max(std::ceil(steps - kSame) - 1.0, 1.0);
  return of_stiffness(shaft, ei_from_astm_deflection(next * kDeflectionStep_in));
}

}  // namespace

std::vector<Change> usual_changes(const Setup& setup) {
  std::vector<Change> changes;
  const auto add = [&](const char* key, const char* label, auto&& edit) {
    Change change{key, label, setup, ""};
    edit(change.after);
    changes.push_back(change);
  };
  const double tip_step_kg = 25.0 * units::kKilogramsPerGrain;
  add("nocking_point_up_sixteenth", "nocking point 1/16 in higher",
      [](Setup& s) { s.bow.nocking_point_m += kInch / 16.0; });
  add("nocking_point_down_sixteenth", "nocking point 1/16 in lower",
      [](Setup& s) { s.bow.nocking_point_m -= kInch / 16.0; });
  add("trim_quarter_inch", "shaft trimmed 1/4 in",
      [](Setup& s) { s.arrow.shaft.length_m -= kInch / 4.0; });
  add("tip_plus_25gr", "tip 25 gr heavier", [&](Setup& s) { s.arrow.tip_mass_kg += tip_step_kg; });
  add("tip_minus_25gr", "tip 25 gr lighter",
      [&](Setup& s) { s.arrow.tip_mass_kg = std::max(0.0, s.arrow.tip_mass_kg - tip_step_kg); });
  add("spine_group_weaker", "shaft one spine group weaker",
      [](Setup& s) { s.arrow.shaft = group_away(s.arrow.shaft, 1); });
  add("spine_group_stiffer", "shaft one spine group stiffer",
      [](Setup& s) { s.arrow.shaft = group_away(s.arrow.shaft, -1); });
  add("plate_out_thirty_second", "strike plate 1/32 in thicker",
      [](Setup& s) { s.bow.plate_offset_m += kInch / 32.0; });
  add("plate_in_thirty_second", "strike plate 1/32 in thinner",
      [](Setup& s) { s.bow.plate_offset_m -= kInch / 32.0; });
  add("brace_up_quarter_inch", "brace height 1/4 in higher",
      [](Setup& s) { s.bow.brace_height_m += kInch / 4.0; });
  add("brace_down_quarter_inch", "brace height 1/4 in lower",
      [](Setup& s) { s.bow.brace_height_m -= kInch / 4.0; });
  add("draw_weight_plus_two_pounds", "draw weight 2 lb more",
      [](Setup& s) { s.bow.draw_weight_n += 2.0 * units::kNewtonsPerPoundForce; });
  add("draw_weight_minus_two_pounds", "draw weight 2 lb less",
      [](Setup& s) { s.bow.draw_weight_n -= 2.0 * units::kNewtonsPerPoundForce; });
  add("draw_plus_inch", "draw 1 in longer", [](Setup& s) { s.archer.draw_m += kInch; });
  add("draw_minus_inch", "draw 1 in shorter", [](Setup& s) { s.archer.draw_m -= kInch; });
  for (Change& change : changes) {
    if (change.key.rfind("brace_", 0) == 0) {
      change.note =
          "Common practice says the opposite as often as not (docs/arrow-model.md): for fine "
          "tuning only.";
    }
  }
  return changes;
}

}  // namespace nocktrail::arrow
