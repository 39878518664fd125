#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "nocktrail/arrow/effects.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "offsets.hpp"
#include "spine_groups.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kStep_m = 0.25 * units::kMetresPerInch;  // one trim
constexpr int kMostTrims = 14;                            // 3 1/2 in
constexpr int kStepsLonger = 4;                           // for the plot
constexpr double kTipStep_kg = 25.0 * units::kKilogramsPerGrain;
constexpr int kMostTipSteps = 7;                                      // 175 gr
constexpr double kLightestTip_kg = 60.0 * units::kKilogramsPerGrain;  // common practice, no source

// Where a row of values first passes from positive to negative, in steps; nothing if it never
// does.
std::optional<double> first_crossing(const std::vector<double>& values) {
  for (std::size_t i = 0; i + 1 < values.size(); ++i) {
    if (values[i] > 0.0 && values[i + 1] <= 0.0) {
      return static_cast<double>(i) + values[i] / (values[i] - values[i + 1]);
    }
  }
  return std::nullopt;
}

// `signed_rows[i]` starts at the present set-up and is positive while there is something to do.
Remaining remaining_of(const std::vector<std::vector<double>>& signed_rows, double step) {
  Remaining result;
  const auto n = static_cast<double>(signed_rows.size());
  for (const std::vector<double>& row : signed_rows) {
    if (row.front() <= 0.0) {
      result.share_wrong_way += 1.0 / n;
    } else if (const auto crossing = first_crossing(row)) {
      result.amounts.push_back(*crossing * step);
      result.share_reached += 1.0 / n;
    } else {
      result.share_out_of_reach += 1.0 / n;
    }
  }
  std::sort(result.amounts.begin(), result.amounts.end());
  result.amount = band_of(result.amounts);
  return result;
}

double weakness_sign(const Setup& setup) {
  return setup.archer.hand == Hand::left ? 1.0 : -1.0;
}

}  // namespace

Outlook outlook(const Setup& setup, const DrawSet& draws, const EffectsOptions& options) {
  const std::size_t n = draws.draws.size();
  StrokeOptions lateral = options.stroke;
  lateral.vertical = false;
  const double sign = weakness_sign(setup);
  const LimitFacts limits = limit_facts(setup);
  // How far the arrow may still be made lighter, and the shaft shorter by that.
  const double spare_kg = std::max(0.0, *limits.arrow_mass_kg - *lightest_kg(limits));
  const double safe_m =
      std::max(*shortest_shaft_m(limits),
               setup.arrow.shaft.length_m - spare_kg / setup.arrow.shaft.mass_per_length_kg_per_m);
  const auto whole_steps = [](double amount, double step) {
    return static_cast<int>(std::floor(amount / step + 1e-9));
  };
  const int trims =
      std::clamp(whole_steps(setup.arrow.shaft.length_m - safe_m, kStep_m), 0, kMostTrims);
  const int lighter = std::clamp(
      whole_steps(std::min(spare_kg, setup.arrow.tip_mass_kg - kLightestTip_kg), kTipStep_kg), 0,
      kMostTipSteps);

  std::vector<double> lengths;
  for (int k = -trims; k <= kStepsLonger; ++k) {
    lengths.push_back(setup.arrow.shaft.length_m + k * kStep_m);
  }
  std::vector<std::vector<double>> by_length(n, std::vector<double>(lengths.size()));
  std::vector<std::vector<double>> by_tip(n, std::vector<double>(kMostTipSteps + 1));
  std::vector<std::vector<double>> by_lighter(n);
  for_each_index(
      n,
      [&](std::size_t i) {
        const auto offset = [&](const Setup& s) {
          return lateral_offset_deg(simulate_shot(s, draws.draws[i], lateral)) + draws.missed(i);
        };
        for (std::size_t k = 0; k < lengths.size(); ++k) {
          Setup changed = setup;
          changed.arrow.shaft.length_m = lengths[k];
          by_length[i][k] = offset(changed);
        }
        for (std::size_t k = 0; k < by_tip[i].size(); ++k) {
          Setup changed = setup;
          changed.arrow.tip_mass_kg += static_cast<double>(k) * kTipStep_kg;
          by_tip[i][k] = offset(changed);
        }
        by_lighter[i].push_back(sign * by_tip[i][0]);  // weak: something to take off
        for (int k = 1; k <= lighter; ++k) {
          Setup changed = setup;
          changed.arrow.tip_mass_kg -= k * kTipStep_kg;
          by_lighter[i].push_back(sign * offset(changed));
        }
      },
      options.threads);

  Outlook result;
  result.curve.length_m = lengths;
  result.curve.shortest_safe_m = safe_m;
  for (std::size_t k = 0; k < lengths.size(); ++k) {
    std::vector<double> column(n);
    std::transform(by_length.begin(), by_length.end(), column.begin(),
                   [k](const auto& row) { return row[k]; });
    result.curve.nock_right_deg.push_back(band_of(std::move(column)));
  }
  std::vector<std::vector<double>> trim_rows(n);
  std::vector<std::vector<double>> tip_rows(n);
  std::vector<double> per_inch(n);
  const auto here = static_cast<std::size_t>(trims);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k <= here; ++k) {
      trim_rows[i].push_back(sign * by_length[i][here - k]);  // weak: something to trim
    }
    for (const double value : by_tip[i]) {
      tip_rows[i].push_back(-sign * value);  // stiff: something to add
    }
    const double half = here > 0 ? 1.0 : 0.0;
    const double shorter = by_length[i][here > 0 ? here - 1 : here];
    per_inch[i] = (shorter - by_length[i][here + 1]) / ((1.0 + half) * 0.25);
  }
  result.trim = remaining_of(trim_rows, kStep_m);
  result.add_tip = remaining_of(tip_rows, kTipStep_kg);
  result.lose_tip = remaining_of(by_lighter, kTipStep_kg);
  result.per_inch_trimmed_deg = band_of(std::move(per_inch));
  return result;
}

namespace {

// Common practice, no source: pounds of spine for a 28 in shaft equal the pounds held; 5 lb more
// per inch of shaft over 28; 5 lb per 60 gr of tip away from the usual 100 to 125; 3 lb less per
// 1/10 in of plate outside centre. Sources differ by a factor of two on each.
constexpr double kUsualTip_gr = 112.5;
double rule_of_thumb_lb(const Setup& setup) {
  const double held_lb = held_force_n(setup) / units::kNewtonsPerPoundForce;
  const double over_28_in = setup.arrow.shaft.length_m / units::kMetresPerInch - 28.0;
  const double tip_gr = setup.arrow.tip_mass_kg / units::kKilogramsPerGrain;
  const double outside_in = setup.bow.plate_offset_m / units::kMetresPerInch;
  return held_lb + 5.0 * over_28_in + 5.0 * (tip_gr - kUsualTip_gr) / 60.0 - 30.0 * outside_in;
}
constexpr double kRuleSpread_lb = 10.0;

// A shaft of the set-up's kind in another stiffness, its mass with the square root of it.
Setup with_stiffness(Setup setup, double ei_n_m2) {
  Shaft& shaft = setup.arrow.shaft;
  shaft.mass_per_length_kg_per_m *= std::sqrt(ei_n_m2 / shaft.ei_n_m2);
  shaft.ei_n_m2 = ei_n_m2;
  return setup;
}

// Sorts a group into those to try or those to leave, by its weakest and so lightest shaft.
void add_group(StartingRange& range, const Setup& setup, const std::string& name,
               double weakest_ei) {
  const std::vector<Caution> stop = stops(limit_facts(with_stiffness(setup, weakest_ei)));
  if (stop.empty()) {
    range.groups.push_back(name);
  } else {
    range.left_out.push_back(fmt::format("{}: {}", name, stop.front().text));
  }
}

void add_groups(StartingRange& range, const Setup& setup) {
  if (setup.arrow.shaft.groups == SpineGroups::deflection) {
    const int last = static_cast<int>(std::floor(range.high80_in * 1.03 / kDeflectionStep_in));
    for (int k = static_cast<int>(std::ceil(range.low80_in * 0.97 / kDeflectionStep_in)); k <= last;
         ++k) {
      const double group = k * kDeflectionStep_in;
      add_group(range, setup, fmt::format("{:.3f}in", group), ei_from_astm_deflection(group));
    }
    return;
  }
  const double low_lb = wood_pounds(ei_from_astm_deflection(range.high80_in));
  const double high_lb = wood_pounds(ei_from_astm_deflection(range.low80_in));
  const auto first = static_cast<int>(std::floor(low_lb / kWoodGroup_lb));
  for (int group = first; group * kWoodGroup_lb < high_lb; ++group) {
    const double lb = group * kWoodGroup_lb;
    add_group(range, setup,
              units::format_force(lb * units::kNewtonsPerPoundForce, units::ForceUnit::lb, 3) +
                  " to " +
                  units::format_force((lb + kWoodGroup_lb) * units::kNewtonsPerPoundForce,
                                      units::ForceUnit::lb, 3),
              ei_from_wood_pounds(std::max(lb, 1.0)));
  }
}

}  // namespace

StartingRange starting_range(const Setup& setup, const DrawSet& draws,
                             const EffectsOptions& options) {
  // Spines tried: 0.20 to 1.80 in, a tenth apart in the logarithm.
  constexpr double kStiffest_in = 0.20;
  constexpr double kRatio = 1.1051709;  // e^0.1
  constexpr int kTried = 23;
  StrokeOptions lateral = options.stroke;
  lateral.vertical = false;
  const double sign = weakness_sign(setup);
  const std::size_t n = draws.draws.size();
  std::vector<std::optional<double>> found_in(n);
  for_each_index(
      n,
      [&](std::size_t i) {
        std::vector<double> stiffness(kTried);  // positive: acts stiff
        for (int k = 0; k < kTried; ++k) {
          const Setup tried =
              with_stiffness(setup, ei_from_astm_deflection(kStiffest_in * std::pow(kRatio, k)));
          stiffness[static_cast<std::size_t>(k)] =
              -sign *
              (lateral_offset_deg(simulate_shot(tried, draws.draws[i], lateral)) + draws.missed(i));
        }
        // Beyond a very weak spine the motion wraps round to another match, which no one shoots:
        // the first crossing from stiff to weak is the one.
        if (const auto crossing = first_crossing(stiffness)) {
          found_in[i] = kStiffest_in * std::pow(kRatio, *crossing);
        }
      },
      options.threads);
  std::vector<double> found;
  std::vector<double> pounds;
  for (const auto& value : found_in) {
    if (value) {
      found.push_back(*value);
      pounds.push_back(wood_pounds(ei_from_astm_deflection(*value)));
    }
  }
  StartingRange range;
  range.share_found = static_cast<double>(found.size()) / static_cast<double>(n);
  range.rule_of_thumb_lb = rule_of_thumb_lb(setup);
  range.rule_of_thumb_spread_lb = kRuleSpread_lb;
  if (found.empty()) {
    return range;
  }
  range.astm_deflection_in = band_of(found);
  range.wood_pounds = band_of(pounds);
  std::sort(found.begin(), found.end());
  range.low80_in = quantile_of_sorted(found, 0.1);
  range.high80_in = quantile_of_sorted(found, 0.9);
  add_groups(range, setup);
  return range;
}

}  // namespace nocktrail::arrow
