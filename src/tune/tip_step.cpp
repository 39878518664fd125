// Sideways by what can be undone: tip and strike plate.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "spine_outcome.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;
constexpr double kPlateStep_m = kInch / 32.0;
// A thicker plate than this is not built up for the sake of spine (common practice, no source).
constexpr double kThickestPlate_m = 3.0 / 16.0 * kInch;
constexpr double kTrialTip_kg = 25.0 * kGrain;  // shows which way the arrow answers before a cut
const char* const kOtherWeaker =
    " Other changes that can be undone and act weaker: a thinner strike plate; silencers taken off "
    "or a lighter string (a faster bow, which strains more), never one weaker than the bow's maker "
    "asks for.";
constexpr double kFineTip_kg = 5.0 * kGrain;
constexpr double kLargestTipStep_kg = 50.0 * kGrain;
constexpr double kLargestTipNeed_kg = 100.0 * kGrain;  // beyond, other shafts serve better
// Nor do those 100 gr do more than this: half a degree for each 25, give or take as much (common
// practice, no source).
constexpr double kTipReach_deg = 4.0;
constexpr double kPlateReach_deg = 1.5;  // stiffer by more, and thinning the plate will not do
constexpr double kLightestTip_kg = 60.0 * kGrain;
// Points and inserts together are hardly made heavier (common practice, no source).
constexpr double kHeaviestTip_kg = 300.0 * kGrain;

// The smallest change of tip, in steps of 5 gr, whose median leaves straight; empty: not within
// the range looked at.
std::optional<double> tip_change(const Answer& answer, bool heavier) {
  const double here = answer.at[answer.here];
  for (std::size_t k = 1; k < answer.at.size(); ++k) {
    const std::size_t at = heavier ? answer.here + k : answer.here - k;
    if (at >= answer.at.size()) {
      break;
    }
    const double median = answer.median(at);
    if (heavier ? median <= 0.0 : median >= 0.0) {
      return std::abs(answer.at[at] - here);
    }
  }
  return std::nullopt;
}

// The set-ups that are the present one but for the tip, each with its tip.
std::vector<const SetupView*> same_but_tip(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  std::vector<const SetupView*> found;
  for (const SetupView& setup : situation.setups) {
    SetupFacts like = setup.facts;
    like.arrow.tip_mass_kg = now.arrow.tip_mass_kg;
    like.arrow.total_mass_kg = now.arrow.total_mass_kg;
    if (counted(setup) && setup.facts.arrow.tip_mass_kg && same_setup(like, now)) {
      found.push_back(&setup);
    }
  }
  return found;
}

// The tip that reads better than the present one although it is on the wrong side of it: heavier
// tips were meant to act weaker, lighter ones stiffer, and did the opposite beyond their intervals.
// Whatever the cause, more of it is not the cure. Null: it answers as it should.
const SetupView* answered_backwards(const Situation& situation, bool heavier) {
  const SetupFacts& now = situation.now().facts;
  const double side = stiff_sign(now.hand) * (heavier ? 1.0 : -1.0);
  const Measured here = pooled(situation.setups, now, false)->offset_deg;
  const SetupView* best = nullptr;
  double best_deg = 0.0;
  for (const SetupView* setup : same_but_tip(situation)) {
    const double change_kg = *now.arrow.tip_mass_kg - *setup->facts.arrow.tip_mass_kg;
    const Measured then = pooled(situation.setups, setup->facts, false)->offset_deg;
    const double worse_deg = side * (here.value - then.value);
    if ((heavier ? change_kg : -change_kg) > 0.5 * kGrain &&
        worse_deg > std::hypot(here.u95, then.u95) && worse_deg > best_deg) {
      best = setup;
      best_deg = worse_deg;
    }
  }
  return best;
}

// A change of tip that does not lead back to a tip that was shot and found to be past straight on
// the other side: half the way there, in steps of 5 gr. Empty where there is no room in between.
std::optional<double> between_tips(const Situation& situation, double amount_kg, bool heavier) {
  const SetupFacts& now = situation.now().facts;
  const double tip_kg = *now.arrow.tip_mass_kg;
  const double side = stiff_sign(now.hand);
  double nearest_kg = amount_kg + kFineTip_kg;
  bool found = false;
  for (const SetupView* setup : same_but_tip(situation)) {
    const double away_kg = (*setup->facts.arrow.tip_mass_kg - tip_kg) * (heavier ? 1.0 : -1.0);
    const double stiff_deg = side * pooled(situation.setups, setup->facts, false)->offset_deg.value;
    const bool other_side = heavier ? stiff_deg < 0.0 : stiff_deg > 0.0;
    if (away_kg > 0.5 * kGrain && away_kg < nearest_kg && other_side) {
      nearest_kg = away_kg;
      found = true;
    }
  }
  if (!found) {
    return amount_kg;
  }
  const double half_kg = kFineTip_kg * std::floor(0.5 * nearest_kg / kFineTip_kg + 1e-6);
  return half_kg > 0.0 ? std::optional(half_kg) : std::nullopt;
}

// The next tip was shot and is past straight on the other side: inside the dead band no tip does
// better.
Step between_two_tips(const Situation& situation, const Outcome& outcome) {
  const auto here = pooled(situation.setups, situation.now().facts, false);
  return std::abs(here->offset_deg.value) <= situation.options.dead_band_deg
             ? finish_step(situation, reading_words(situation, outcome) +
                                          "; five grains of tip more or less pass straight")
             : film_more(situation, outcome);
}

// Weaker shafts are lighter too, and going to and fro between two groups settles nothing.
bool weaker_shaft_serves(const Situation& situation, const Limits& limits) {
  const auto now = value_of(Quantity::spine, situation.now().facts);
  const bool tried =
      std::any_of(situation.setups.begin(), situation.setups.end(), [&](const SetupView& setup) {
        const auto then = value_of(Quantity::spine, setup.facts);
        return now && then && *then < 0.97 * *now;
      });
  constexpr double kGroupMass = 0.11;  // of the shaft's mass, one group in stiffness of a fifth
  const double less_kg = kGroupMass * limits.shaft_mass_per_length_kg_per_m *
                         situation.now().facts.arrow.shaft_length_m.value_or(0.75);
  return !tried && limits.lighter_allowed(less_kg);
}

// Whether, with this very shaft, something that can be undone was tried toward stiff: then the
// direction in which the arrow answers is known, and a cut may follow.
bool tried_toward_stiff(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  return std::any_of(situation.setups.begin(), situation.setups.end(), [&](const SetupView& setup) {
    const SetupFacts& then = setup.facts;
    if (!counted(setup) || rest_of(then) != rest_of(now) ||
        value_of(Quantity::spine, then) != value_of(Quantity::spine, now)) {
      return false;
    }
    const auto less = [](const std::optional<double>& a, const std::optional<double>& b,
                         double by) { return a && b && *a < *b - by; };
    return less(now.arrow.tip_mass_kg, then.arrow.tip_mass_kg, 0.5 * kGrain) ||
           less(then.bow.plate_offset_m, now.bow.plate_offset_m, 1e-4);
  });
}

// A lighter tip as far as the limits and the tip allow, at most `wanted_kg`; 0 where they do not.
double tip_spare_kg(const Situation& situation, const Limits& limits, double wanted_kg) {
  const auto tip_kg = situation.now().facts.arrow.tip_mass_kg;
  if (!tip_kg || !limits.unknown_for_lighter.empty()) {
    return 0.0;
  }
  const double most = std::min({wanted_kg, *tip_kg - kLightestTip_kg, limits.spare_kg});
  return std::max(0.0, kFineTip_kg * std::floor(most / kFineTip_kg + 1e-6));
}

Step lighter_tip(const Situation& situation, double amount_kg, const std::string& because) {
  Step step;
  step.kind = StepKind::lighter_tip;
  step.amount = amount_kg;
  step.words = fmt::format(
      "Fit a tip {:.0f} gr lighter ({:.0f} gr) and shoot again: the arrow must act stiffer.{}",
      amount_kg / kGrain, (*situation.now().facts.arrow.tip_mass_kg - amount_kg) / kGrain,
      kOtherStiffer);
  step.because = because;
  return step;
}

Step back_to(const SetupView& better, const std::string& because) {
  Step step;
  step.kind = StepKind::look_for_cause;
  step.words = fmt::format(
      "Go back to the {:.0f} gr tip, and go no further this way: with these shafts a heavier tip "
      "did not act weaker, it read stiffer. Something other than spine is at work: look for "
      "contact with shelf or plate, a tight nock, a loose that changes with the arrow's weight; or "
      "try other shafts.",
      *better.facts.arrow.tip_mass_kg / kGrain);
  step.because = because;
  return step;
}

}  // namespace

Step heavier_tip(const Situation& situation, const Outcome& outcome, const Limits& limits) {
  Step step;
  const std::string why = "The arrow acts stiff, and a stiff arrow cannot be trimmed right: ";
  step.because = why + reading_words(situation, outcome) + ".";
  const SetupFacts& facts = situation.now().facts;
  if (!facts.arrow.tip_mass_kg) {
    step.kind = StepKind::heavier_tip;
    step.amount = 25.0 * kGrain;
    step.words = "Fit a tip 25 gr heavier and shoot again: the arrow must act weaker.";
    step.words += kOtherWeaker;
    return step;
  }
  const SetupView* const better = answered_backwards(situation, true);
  const Answer& tip = situation.learner.lateral(Quantity::tip_mass);
  const std::optional<double> needed = tip_change(tip, true);
  if (better != nullptr || !needed || *needed > kLargestTipNeed_kg ||
      outcome.median_deg > kTipReach_deg) {
    if (outcome.median_deg < kPlateReach_deg && facts.bow.plate_offset_m &&
        *facts.bow.plate_offset_m >= kPlateStep_m - 1e-9) {
      step.kind = StepKind::thinner_plate;
      step.amount = kPlateStep_m;
      step.words = fmt::format(
          "Make the strike plate thinner by {} and shoot again: the arrow must act weaker.",
          inches_and_mm(kPlateStep_m));
      return step;
    }
    if (!limits.unknown_for_lighter.empty()) {
      return ask_for(limits.unknown_for_lighter, "weaker, lighter shafts are tried", step.because);
    }
    if (weaker_shaft_serves(situation, limits)) {
      step.kind = StepKind::weaker_shaft;
      step.words = fmt::format(
          "Try shafts one spine group weaker, {}: {}. A thinner strike plate helps a little.",
          how_long_others(facts),
          better != nullptr ? "with these a heavier tip did not act weaker"
                            : "more than 100 gr of tip would be needed to bring these to straight");
      step.words += least_mass_words(facts);
      return step;
    }
  }
  if (better != nullptr) {
    return back_to(*better, step.because);
  }
  // With weaker shafts tried before, or too light for the bow, the tip goes on a step at a time.
  const std::optional<double> some = between_tips(
      situation, std::min(needed.value_or(kLargestTipStep_kg), kLargestTipStep_kg), true);
  if (!some) {
    return between_two_tips(situation, outcome);
  }
  const double amount = std::min(
      *some,
      kFineTip_kg * std::floor((kHeaviestTip_kg - *facts.arrow.tip_mass_kg) / kFineTip_kg + 1e-6));
  if (amount < kFineTip_kg - 1e-9 && !weaker_shaft_serves(situation, limits)) {
    step.kind = StepKind::look_for_cause;
    step.words =
        "A heavier tip than this is hardly made, and weaker shafts were tried or would be too "
        "light: look for contact with shelf or plate and a tight nock, or try other arrows.";
    return step;
  }
  if (amount < kFineTip_kg - 1e-9) {
    step.kind = StepKind::weaker_shaft;
    step.words = fmt::format(
        "Try shafts one spine group weaker, {}: a heavier tip than this is hardly made.{}",
        how_long_others(facts), kOtherWeaker);
    step.words += least_mass_words(facts);
    return step;
  }
  step.kind = StepKind::heavier_tip;
  step.amount = amount;
  step.words = fmt::format(
      "Fit a tip {:.0f} gr heavier ({:.0f} gr) and shoot again: the arrow must act weaker.",
      amount / kGrain, (*facts.arrow.tip_mass_kg + amount) / kGrain);
  step.words += kOtherWeaker;
  return step;
}

std::optional<Step> stiffer_without_a_cut(const Situation& situation, const Outcome& outcome,
                                          const Limits& limits, bool whatever_helps) {
  const std::string because = "The arrow acts weak, and what can be undone comes before a cut: " +
                              reading_words(situation, outcome) + ".";
  const SetupFacts& facts = situation.now().facts;
  const bool trial = whatever_helps || !tried_toward_stiff(situation);
  if (facts.arrow.tip_mass_kg && answered_backwards(situation, false) == nullptr) {
    const auto needed = tip_change(situation.learner.lateral(Quantity::tip_mass), false);
    const double wanted = std::min(needed.value_or(kLargestTipStep_kg), kLargestTipStep_kg);
    const double spare = tip_spare_kg(situation, limits, wanted);
    if (needed && *needed <= kLargestTipStep_kg && spare >= *needed - 1e-9) {
      const std::optional<double> some = between_tips(situation, *needed, false);
      return some ? lighter_tip(situation, *some, because) : between_two_tips(situation, outcome);
    }
    const double step_kg = whatever_helps ? spare : std::min(spare, kTrialTip_kg);
    if (trial && step_kg > 0.0) {
      return lighter_tip(situation, step_kg, because);
    }
  }
  const auto& plate_m = facts.bow.plate_offset_m;
  if (trial && plate_m && *plate_m + kPlateStep_m <= kThickestPlate_m + 1e-9) {
    Step step;
    step.kind = StepKind::thicker_plate;
    step.amount = kPlateStep_m;
    step.words = fmt::format(
        "Make the strike plate thicker by {} and shoot again: the arrow must act stiffer.{}",
        inches_and_mm(kPlateStep_m), kOtherStiffer);
    step.because = because;
    return step;
  }
  return std::nullopt;
}

}  // namespace nocktrail::tune
