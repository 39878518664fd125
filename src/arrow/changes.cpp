#include <algorithm>
#include <array>
#include <iterator>

#include "nocktrail/arrow/effects.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "spine_groups.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kInch = units::kMetresPerInch;

Shaft group_away(Shaft shaft, int steps_weaker) {
  if (shaft.groups == SpineGroups::pounds) {
    const double pounds = wood_pounds(shaft.ei_n_m2) - steps_weaker * kWoodGroup_lb;
    shaft.ei_n_m2 = ei_from_wood_pounds(std::max(pounds, kWoodGroup_lb));
    return shaft;
  }
  // Between two groups, the neighbours count from the stated spine, which need not be a group.
  const double stated = astm_deflection_in(shaft.ei_n_m2);
  constexpr double kSame = 1e-3;
  const auto next_in = [&] {
    if (steps_weaker > 0) {
      const auto it = std::find_if(kDeflectionGroups_in.begin(), kDeflectionGroups_in.end(),
                                   [&](double group) { return group > stated + kSame; });
      return it != kDeflectionGroups_in.end() ? *it : stated * 1.2;
    }
    const auto it = std::find_if(kDeflectionGroups_in.rbegin(), kDeflectionGroups_in.rend(),
                                 [&](double group) { return group < stated - kSame; });
    return it != kDeflectionGroups_in.rend() ? *it : stated / 1.2;
  };
  shaft.ei_n_m2 = ei_from_astm_deflection(next_in());
  return shaft;
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
