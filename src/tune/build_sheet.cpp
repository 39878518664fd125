#include "build_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/setup.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"

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

// What a workshop holds, half widths (common practice, no source). A tolerance finer than that is
// not asked for; what the coarser one costs stands beside it.
constexpr double kSawHolds_m = kInch / 32.0;
constexpr double kScaleHolds_kg = 2.0 * kGrain;
constexpr double kTesterHolds_in = 0.010;
constexpr double kTesterHolds_lb = 1.0;
constexpr double kRuleHolds_m = kInch / 32.0;

// deg per SI unit, without sign; 0 where nothing is known.
double slope_of(const Situation& situation, Quantity quantity, bool vertical) {
  const Answer& answer =
      vertical ? situation.learner.vertical(quantity) : situation.learner.lateral(quantity);
  return std::abs(answer.learned.slope_deg_per_unit.median);
}

struct Tolerance {
  double half = 0.0;          // SI; 0 where nothing is known
  double cost_deg = 0.0;      // that it moves the offset
  bool finer_wanted = false;  // than the workshop holds
};

Tolerance tolerance_of(const Situation& situation, Quantity quantity, bool vertical, double share,
                       double holds, double coarsest) {
  const double slope = slope_of(situation, quantity, vertical);
  Tolerance tolerance;
  if (!(slope > 0.0)) {
    return tolerance;
  }
  const double wanted = std::min(share * situation.options.dead_band_deg / slope, coarsest);
  tolerance.finer_wanted = wanted < holds;
  tolerance.half = tolerance.finer_wanted ? holds : holds * std::floor(wanted / holds + 1e-9);
  tolerance.cost_deg = slope * tolerance.half;
  return tolerance;
}

std::string cost_words(const Tolerance& tolerance) {
  return tolerance.cost_deg < 0.01
             ? ": no change of the offset to speak of"
             : fmt::format(": moves the offset by up to {:.2f} deg", tolerance.cost_deg);
}

// `low_m` and `high_m`: limits that neither edge may pass.
std::string length_within(const Tolerance& tolerance, const std::optional<double>& value_m,
                          const std::optional<double>& low_m = std::nullopt,
                          const std::optional<double>& high_m = std::nullopt) {
  if (!(tolerance.half > 0.0) || !value_m) {
    return {};
  }
  const double below = low_m ? std::clamp(*value_m - *low_m, 0.0, tolerance.half) : tolerance.half;
  const double above =
      high_m ? std::clamp(*high_m - *value_m, 0.0, tolerance.half) : tolerance.half;
  if (below > tolerance.half - 1e-6 && above > tolerance.half - 1e-6) {
    return "± " + inches_and_mm(tolerance.half) + cost_words(tolerance);
  }
  return fmt::format("+ {}, − {} (a limit lies there){}", inches_and_mm(above),
                     inches_and_mm(below), cost_words(tolerance));
}

std::string length_or_blank(const std::optional<double>& length_m) {
  return length_m ? inches_and_mm(*length_m) : std::string();
}

std::string grains(double mass_kg) {
  return fmt::format("{:.0f} gr ({:.2f} g)", mass_kg / kGrain, 1e3 * mass_kg);
}

Tolerance add_spine(BuildSheet& sheet, const Situation& situation) {
  const ArrowFacts& arrow = situation.now().facts.arrow;
  BuildLine line{"Spine", {}, {}};
  Tolerance tolerance;
  if (arrow.spine) {
    const double ei = *value_of(Quantity::spine, situation.now().facts);
    const bool wood = arrow.spine->convention == SpineConvention::wood_pounds;
    // One pound, or one inch of deflection, in stiffness.
    const double unit_ei =
        wood ? arrow::ei_from_wood_pounds(1.0) : ei / std::max(arrow.spine->value, 1e-6);
    const double holds = (wood ? kTesterHolds_lb : kTesterHolds_in) * unit_ei;
    tolerance = tolerance_of(situation, Quantity::spine, false, kSpineShare, holds, 0.25 * ei);
    line.value = wood ? fmt::format("{:.4g} lb", arrow.spine->value)
                      : fmt::format("{:.3f} in (ASTM F2031)", arrow.spine->value);
    if (tolerance.half > 0.0) {
      line.tolerance = wood ? fmt::format("± {:.0f} lb", tolerance.half / unit_ei)
                            : fmt::format("± {:.3f} in", tolerance.half / unit_ei);
      line.tolerance += cost_words(tolerance);
      line.tolerance += tolerance.finer_wanted
                            ? "; finer than a spine tester tells, so sort the finished arrows by "
                              "how they leave"
                            : "; sort the shafts with a spine tester, a shop's group is wider";
    }
  }
  sheet.arrow.push_back(line);
  return tolerance;
}

void add_mass_and_balance(BuildSheet& sheet, const Situation& situation) {
  const SetupView& built = finished(situation);
  const SetupFacts& facts = built.facts;
  const arrow::LimitFacts limits = limit_facts(facts);
  // Of the bare shaft, where that is the present one.
  const std::optional<arrow::Setup> model = &built == &situation.now()
                                                ? situation.learner.present().setup
                                                : std::optional<arrow::Setup>();
  BuildLine mass{"Total mass", {}, {}};
  BuildLine foc{"FOC", {}, {}};
  mass.tolerance = "± 5 gr within the set (common practice)";
  if (limits.arrow_mass_kg) {
    mass.value =
        grains(*limits.arrow_mass_kg) + (facts.arrow.total_mass_kg ? "" : ", added up: weigh it");
    if (const auto least_kg = arrow::lightest_kg(limits);
        least_kg && *limits.arrow_mass_kg - 5.0 * kGrain < *least_kg) {
      mass.tolerance =
          fmt::format("+ 5 gr within the set, none below {:.0f} gr ({})",
                      std::ceil(*least_kg / kGrain - 1e-6), arrow::whose_mass_limit(limits));
    }
  }
  if (model) {
    foc.value = fmt::format("{:.1f} %, added up: balance it",
                            arrow::mass_properties(model->arrow).foc_percent);
  }
  foc.tolerance = "± 1 % within the set (common practice)";
  sheet.arrow.push_back(mass);
  sheet.arrow.push_back(foc);
}

// What must not be gone past, whoever builds the arrows.
void add_limits(BuildSheet& sheet, const SetupFacts& facts) {
  const arrow::LimitFacts limits = limit_facts(facts);
  const auto least_kg = arrow::lightest_kg(limits);
  sheet.arrow.push_back({"Lightest arrow for this bow",
                         least_kg
                             ? fmt::format("{:.0f} gr ({})", std::ceil(*least_kg / kGrain - 1e-6),
                                           arrow::whose_mass_limit(limits))
                             : std::string(),
                         {}});
  const auto shortest_m = arrow::shortest_shaft_m(limits);
  sheet.arrow.push_back(
      {"Shortest shaft at this draw",
       shortest_m ? inches_and_mm(*shortest_m) + ", half an inch past the rest (common practice)"
                  : std::string(),
       {}});
}

std::string brace_limits(const BowFacts& bow) {
  if (bow.brace_min_m && bow.brace_max_m) {
    return fmt::format("{} to {} by the bow's maker", inches_and_mm(*bow.brace_min_m),
                       inches_and_mm(*bow.brace_max_m));
  }
  if (bow.brace_min_m) {
    return inches_and_mm(*bow.brace_min_m) + " or more by the bow's maker";
  }
  return bow.brace_max_m ? "no more than " + inches_and_mm(*bow.brace_max_m) + " by the bow's maker"
                         : std::string();
}

std::string draw_limits(const BowFacts& bow) {
  std::string words;
  if (bow.max_draw_m) {
    words = "no further than " + inches_and_mm(*bow.max_draw_m);
  }
  if (bow.max_draw_weight_n) {
    words += fmt::format("{}no more than {:.4g} lb held", words.empty() ? "" : ", ",
                         *bow.max_draw_weight_n / units::kNewtonsPerPoundForce);
  }
  return words.empty() ? words : words + " by the bow's maker";
}

std::string fletching_words(Fletching fletching) {
  switch (fletching) {
    case Fletching::bare:
      return "bare";
    case Fletching::fletched:
      return "fletched";
    case Fletching::unknown:
      break;
  }
  return {};
}

// What the set is kept within, by length and tip.
struct Kept {
  Tolerance length;
  Tolerance tip;
  bool tip_at_limit = false;  // none lighter
  std::optional<double> shortest_m;
};

Kept kept_within(const Situation& situation, const SetupFacts& facts) {
  Kept kept;
  kept.length = tolerance_of(situation, Quantity::shaft_length, false, kLengthShare, kSawHolds_m,
                             kInch / 8.0);
  kept.tip =
      tolerance_of(situation, Quantity::tip_mass, false, kTipShare, kScaleHolds_kg, 10.0 * kGrain);
  // Where the lower edges of length and tip together would make an arrow too light, the tip gets
  // none, and the length what mass there is to spare.
  const arrow::LimitFacts limits = limit_facts(facts);
  const auto least_kg = arrow::lightest_kg(limits);
  kept.shortest_m = arrow::shortest_shaft_m(limits);
  if (limits.arrow_mass_kg && least_kg && facts.arrow.shaft_length_m) {
    const double per_m = limits_of(facts).shaft_mass_per_length_kg_per_m;
    const double spare_kg = std::max(0.0, *limits.arrow_mass_kg - *least_kg);
    if (spare_kg < kept.tip.half + per_m * kept.length.half) {
      kept.tip_at_limit = true;
      kept.shortest_m =
          std::max(kept.shortest_m.value_or(0.0), *facts.arrow.shaft_length_m - spare_kg / per_m);
    }
  }
  return kept;
}

std::vector<BuildLine> bow_lines(const Situation& situation, const SetupFacts& facts) {
  const BowFacts& bow = facts.bow;
  const auto bow_tolerance = [&](Quantity quantity, bool vertical, double coarsest) {
    return tolerance_of(situation, quantity, vertical, kBowShare, kRuleHolds_m, coarsest);
  };
  const Bow& stood = situation.now().judgement.bow;
  return {{"Archer", facts.hand == Hand::left ? "left-handed" : "right-handed", {}},
          {"Cant",
           stood.source == BowSource::assumed
               ? std::string()
               : fmt::format("{:+.0f} deg, upper limb to the shooter's right positive",
                             stood.cant_deg.value),
           {}},
          {"Bow", bow.name, {}},
          {"Draw weight",
           bow.draw_weight_n
               ? fmt::format("{:.1f} lb at {}", *bow.draw_weight_n / units::kNewtonsPerPoundForce,
                             inches_and_mm(bow.rated_draw_m.value_or(28.0 * kInch)))
               : std::string(),
           {}},
          {"Draw length", length_or_blank(facts.draw_m), draw_limits(bow)},
          {"Brace height", length_or_blank(bow.brace_height_m),
           length_within(bow_tolerance(Quantity::brace_height, false, kInch / 8.0),
                         bow.brace_height_m, bow.brace_min_m, bow.brace_max_m)},
          {"Brace height allowed", brace_limits(bow), {}},
          {"Nocking point above square", length_or_blank(bow.nocking_point_m),
           length_within(bow_tolerance(Quantity::nocking_point, true, kInch / 16.0),
                         bow.nocking_point_m)},
          {"String", bow.string, {}},
          {"String, weighed", bow.string_mass_kg ? grains(*bow.string_mass_kg) : std::string(), {}},
          {"Strike plate from the string's plane", length_or_blank(bow.plate_offset_m),
           length_within(bow_tolerance(Quantity::plate_offset, false, kInch / 32.0),
                         bow.plate_offset_m)}};
}

std::vector<BuildLine> arrow_lines(const ArrowFacts& arrow, const Kept& kept) {
  BuildLine tip{"Tip weight", {}, {}};
  if (arrow.tip_mass_kg) {
    tip.value = grains(*arrow.tip_mass_kg);
    if (kept.tip.half > 0.0) {
      tip.tolerance =
          fmt::format("{} {:.0f} gr{}{}", kept.tip_at_limit ? "+" : "±", kept.tip.half / kGrain,
                      kept.tip_at_limit ? ", none lighter (the lightest arrow lies there)" : "",
                      cost_words(kept.tip));
    }
  }
  return {{"Arrow", arrow.name, {}},
          {"Shot for this sheet", fletching_words(arrow.fletching), {}},
          {"Shaft diameter",
           arrow.diameter_m ? fmt::format("{:.2f} mm", 1e3 * *arrow.diameter_m) : std::string(),
           {}},
          {"Finished shaft length, without the tip", length_or_blank(arrow.shaft_length_m),
           length_within(kept.length, arrow.shaft_length_m, kept.shortest_m)},
          {"Arrow length, with the tip", length_or_blank(arrow.arrow_length_m), {}},
          tip};
}

std::string offsets_words(const Situation& situation, const SetupFacts& facts) {
  const Fletching fletching = facts.arrow.fletching;
  const auto of = [&](const SetupFacts& measured) {
    return fmt::format("{}, {}",
                       rules::lateral_words(pooled(situation.setups, measured, false)->offset_deg),
                       rules::vertical_words(pooled(situation.setups, measured, true)->offset_deg));
  };
  std::string words = fmt::format("Measured, {}: {} (95 %).",
                                  fletching == Fletching::bare       ? "bare"
                                  : fletching == Fletching::fletched ? "fletched"
                                                                     : "as shot",
                                  of(facts));
  if (const SetupView* bare = with_fletching(situation, Fletching::bare);
      fletching == Fletching::fletched && bare != nullptr) {
    words += fmt::format(" The same bare, by which spine was judged: {} (95 %).", of(bare->facts));
  }
  return words;
}

// `within_deg`: by how much 95 % of arrows within the tolerances differ sideways; 0: not known.
std::vector<std::string> sheet_cautions(const Situation& situation, const SetupFacts& facts,
                                        double within_deg) {
  constexpr const char* kRoundShaft =
      "Spine varies round a shaft: measure it at four quarters, and set every nock to the same "
      "one.";
  constexpr const char* kEveryArrow =
      "Weigh every arrow, and measure it past the rest at full draw, before it is shot: the limits "
      "above hold for each one. Shoot each new arrow from close by before it joins the set.";
  std::vector<std::string> cautions{
      within_deg > 0.0
          ? fmt::format("Length, tip and spine within these tolerances move 95 % of the arrows by "
                        "less than {:.1f} deg sideways.",
                        std::max(within_deg, 0.1))
          : std::string("What a tolerance costs is not known of this bow: keep the arrows alike."),
      kRoundShaft,
      kEveryArrow,
      rules::caution::kShaft,
      rules::caution::kBrace,
      rules::caution::kRange};
  if (!facts.accepted_nock_height.empty()) {
    cautions.push_back(fmt::format("The nock's height was accepted by the archer as it is: {}.",
                                   rules::printable(facts.accepted_nock_height)));
  }
  if (facts.arrow.fletching == Fletching::fletched &&
      with_fletching(situation, Fletching::bare) == nullptr) {
    cautions.emplace_back(
        "The fletched arrow alone was judged: feathers hide a shaft that is too weak.");
  }
  return cautions;
}

}  // namespace

BuildSheet build_sheet(const Situation& situation) {
  const SetupFacts& facts = finished(situation).facts;
  const ArrowFacts& arrow = facts.arrow;
  const Kept kept = kept_within(situation, facts);
  BuildSheet sheet;
  sheet.bow = bow_lines(situation, facts);
  sheet.arrow = arrow_lines(arrow, kept);
  const Tolerance spine = add_spine(sheet, situation);
  add_mass_and_balance(sheet, situation);
  add_limits(sheet, facts);
  sheet.offsets = offsets_words(situation, facts);
  sheet.columns = {"arrow", "shaft length", "spine, stiff side", "spine, quarter turn",
                   "tip",   "total mass",   "balance",           "straight"};
  // Within +-a everything counts as alike: a standard uncertainty of a / sqrt(3) (JCGM 100:2008,
  // 4.3.7).
  const double together_deg =
      1.959964 / std::sqrt(3.0) *
      std::hypot(arrow.shaft_length_m ? kept.length.cost_deg : 0.0,
                 arrow.tip_mass_kg ? kept.tip.cost_deg : 0.0, spine.cost_deg);
  sheet.cautions = sheet_cautions(situation, facts, together_deg);
  return sheet;
}

}  // namespace nocktrail::tune
