#include "build_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/setup.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;

// Half widths of what a quantity may move the offset, over the dead band. Within +-a everything
// counts as alike, a standard uncertainty of a / sqrt(3) (JCGM 100:2008, 4.3.7). Spine is what
// shafts differ in most: it gets eight tenths of the variance, length and tip, easily held, one
// tenth each; together 95 % of the arrows stay within the dead band.
constexpr double kSpineShare = 0.79;   // sqrt(3) sqrt(0.8) / 1.96
constexpr double kLengthShare = 0.28;  // sqrt(3) sqrt(0.1) / 1.96
constexpr double kTipShare = kLengthShare;
constexpr double kBowShare = 0.5;  // brace height, nocking point and plate: one bow, reset by hand

// By how much a quantity may differ, SI; 0 where the slope says nothing.
double tolerance_of(const Situation& situation, Quantity quantity, bool vertical, double share) {
  const Answer& answer =
      vertical ? situation.learner.vertical(quantity) : situation.learner.lateral(quantity);
  const double slope = std::abs(answer.learned.slope_deg_per_unit.median);
  return slope > 0.0 ? share * situation.options.dead_band_deg / slope : 0.0;
}

std::string within(const Situation& situation, Quantity quantity, bool vertical, double coarsest_m,
                   double share = kBowShare) {
  const double tolerance = tolerance_of(situation, quantity, vertical, share);
  if (!(tolerance > 0.0)) {
    return {};
  }
  // Rounded down to what a rule shows.
  constexpr double kRule_m = kInch / 64.0;
  const double shown =
      std::max(kRule_m, std::floor(std::min(tolerance, coarsest_m) / kRule_m + 1e-9) * kRule_m);
  return "± " + inches_and_mm(shown);
}

std::string length_or_blank(const std::optional<double>& length_m) {
  return length_m ? inches_and_mm(*length_m) : std::string();
}

std::string grains(double mass_kg) {
  return fmt::format("{:.0f} gr ({:.2f} g)", mass_kg / kGrain, 1e3 * mass_kg);
}

void add_spine(BuildSheet& sheet, const Situation& situation) {
  const ArrowFacts& arrow = situation.now().facts.arrow;
  BuildLine line{"Spine", {}, {}};
  if (arrow.spine) {
    const double ei = *value_of(Quantity::spine, situation.now().facts);
    const double tolerance_ei =
        std::min(tolerance_of(situation, Quantity::spine, false, kSpineShare), 0.25 * ei);
    if (arrow.spine->convention == SpineConvention::wood_pounds) {
      const double pounds = tolerance_ei > 0.0 ? arrow::wood_pounds(tolerance_ei) : 0.0;
      line.value = fmt::format("{:.4g} lb", arrow.spine->value);
      line.tolerance = pounds > 0.0 ? fmt::format("± {:.1f} lb", pounds) : "";
    } else {
      const double inches = arrow.spine->value * tolerance_ei / ei;
      line.value = fmt::format("{:.3f} in (ASTM F2031)", arrow.spine->value);
      line.tolerance = inches > 0.0 ? fmt::format("± {:.3f} in", inches) : "";
    }
  }
  sheet.arrow.push_back(line);
}

void add_mass_and_balance(BuildSheet& sheet, const Situation& situation) {
  const ArrowFacts& arrow = situation.now().facts.arrow;
  const auto& model = situation.learner.present().setup;
  BuildLine mass{"Total mass", {}, {}};
  BuildLine foc{"FOC", {}, {}};
  if (arrow.total_mass_kg) {
    mass.value = grains(*arrow.total_mass_kg);
  }
  if (model) {
    const arrow::MassProperties properties = arrow::mass_properties(model->arrow);
    if (mass.value.empty()) {
      mass.value = grains(properties.mass_kg) + ", added up: weigh it";
    }
    foc.value = fmt::format("{:.1f} %, added up: balance it", properties.foc_percent);
  }
  mass.tolerance = "± 5 gr within the set (common practice)";
  foc.tolerance = "± 1 % within the set (common practice)";
  sheet.arrow.push_back(mass);
  sheet.arrow.push_back(foc);
}

}  // namespace

BuildSheet build_sheet(const Situation& situation) {
  const SetupFacts& facts = situation.now().facts;
  const BowFacts& bow = facts.bow;
  const ArrowFacts& arrow = facts.arrow;
  BuildSheet sheet;
  sheet.bow = {
      {"Bow", bow.name, {}},
      {"Draw weight",
       bow.draw_weight_n
           ? fmt::format("{:.1f} lb at {}", *bow.draw_weight_n / units::kNewtonsPerPoundForce,
                         inches_and_mm(bow.rated_draw_m.value_or(28.0 * kInch)))
           : std::string(),
       {}},
      {"Draw length", length_or_blank(facts.draw_m), {}},
      {"Brace height", length_or_blank(bow.brace_height_m),
       bow.brace_height_m ? within(situation, Quantity::brace_height, false, kInch / 8.0)
                          : std::string()},
      {"Nocking point above square", length_or_blank(bow.nocking_point_m),
       bow.nocking_point_m ? within(situation, Quantity::nocking_point, true, kInch / 16.0)
                           : std::string()},
      {"String", bow.string, {}},
      {"Strike plate from the string's plane", length_or_blank(bow.plate_offset_m),
       bow.plate_offset_m ? within(situation, Quantity::plate_offset, false, kInch / 32.0)
                          : std::string()}};
  sheet.arrow.push_back({"Arrow", arrow.name, {}});
  sheet.arrow.push_back(
      {"Finished shaft length, without the tip", length_or_blank(arrow.shaft_length_m),
       within(situation, Quantity::shaft_length, false, kInch / 8.0, kLengthShare)});
  BuildLine tip{"Tip weight", {}, {}};
  if (arrow.tip_mass_kg) {
    tip.value = grains(*arrow.tip_mass_kg);
    const double tolerance = tolerance_of(situation, Quantity::tip_mass, false, kTipShare);
    tip.tolerance =
        fmt::format("± {:.0f} gr", std::clamp(std::floor(tolerance / kGrain), 1.0, 10.0));
  }
  sheet.arrow.push_back(tip);
  add_spine(sheet, situation);
  add_mass_and_balance(sheet, situation);
  const Measured lateral = pooled(situation.setups, facts, false)->offset_deg;
  const Measured vertical = pooled(situation.setups, facts, true)->offset_deg;
  sheet.offsets = fmt::format("Measured, {}: {}, {} (95 %).",
                              arrow.fletching == Fletching::bare ? "bare" : "as shot",
                              rules::lateral_words(lateral), rules::vertical_words(vertical));
  sheet.columns = {"arrow", "shaft length", "spine, stiff side", "spine, quarter turn",
                   "tip",   "total mass",   "balance",           "straight"};
  sheet.cautions = {
      "Within these tolerances of length, tip and spine together, 95 % of the arrows stay inside "
      "the "
      "dead band sideways.",
      "Spine varies round a shaft: measure it at four quarters, and set every nock to the same "
      "one.",
      "Shoot each new arrow from close by before it joins the set."};
  return sheet;
}

}  // namespace nocktrail::tune
