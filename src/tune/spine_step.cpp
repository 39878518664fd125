// Sideways: trim, tip, shaft or plate, by what this bow was learned to answer.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "spine_outcome.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kDoneChance = 0.92;  // that the mean offset is inside the dead band
constexpr double kSideChance = 0.95;  // that it lies on one side, before anything is changed
constexpr double kFineTrim_m = kInch / 32.0;
constexpr double kNearZero_m = 0.5 * kInch;  // of trim left: from here on a part of it at a time
constexpr double kNearShare = 0.6;
constexpr int kEnoughShots = 40;

struct Trim {
  double amount_m = 0.0;  // 0: none is safe
  double overshoot = 0.0;
};

// The longest trim, in thirty-seconds of an inch, that most likely does not pass zero, passes the
// dead band with less than the allowed chance, and keeps to a part of what is left near zero.
Trim trim_for(const Situation& situation, const Answer& answer, const Limits& limits) {
  const JudgementOptions& options = situation.options;
  const double here = answer.at[answer.here];
  const double left = answer.learned.straight_at ? here - answer.learned.straight_at->median
                                                 : options.largest_trim_m * 4.0;
  // Weak, and yet straight where it is longer: whatever that is, no cut mends it.
  if (left <= 0.0) {
    return {};
  }
  double most = options.largest_trim_m;
  if (left < kNearZero_m) {
    most = std::min(most, std::max(kNearShare * left, kFineTrim_m));
  }
  for (int k = static_cast<int>(std::floor(most / kFineTrim_m + 1e-6)); k > 0; --k) {
    const double amount = k * kFineTrim_m;
    const double after = here - amount;
    if (!limits.trim_allowed(amount) || after < answer.at.front() - 1e-9) {
      continue;
    }
    const double overshoot = answer.chance_at(after, options.dead_band_deg);
    if (overshoot < options.overshoot_chance && answer.median_at(after) <= 0.0) {
      return {amount, overshoot};
    }
  }
  return {};
}

Step trim_step(const Situation& situation, const Answer& answer, const Outcome& outcome,
               const Trim& trim) {
  Step step;
  step.kind = StepKind::trim_shaft;
  step.amount = trim.amount_m;
  step.overshoot_chance = trim.overshoot;
  const SetupFacts& facts = situation.now().facts;
  step.words = fmt::format("Trim the shaft by {}", inches_and_mm(trim.amount_m));
  if (facts.arrow.shaft_length_m) {
    step.words +=
        fmt::format(", to {}", inches_and_mm(*facts.arrow.shaft_length_m - trim.amount_m));
  }
  step.words += ", and shoot again.";
  step.because = "The arrow acts weak: " + reading_words(situation, outcome);
  if (answer.learned.straight_at && answer.told) {
    const arrow::Band& at = *answer.learned.straight_at;
    step.because += fmt::format(", straight at a shaft of {}", length_band_words(at));
  }
  step.because += '.';
  return step;
}

// Weak, and the shaft may not be cut any more.
Step weak_without_trim(const Situation& situation, const Outcome& outcome, const Limits& limits) {
  if (const auto step = stiffer_without_a_cut(situation, outcome, limits, true)) {
    return *step;
  }
  Step step;
  step.because =
      "The arrow acts weak and may not be trimmed further: " + reading_words(situation, outcome) +
      ".";
  step.kind = StepKind::stiffer_shaft;
  step.words = fmt::format(
      "Try shafts one spine group stiffer, {}: these cannot be cut or lightened any "
      "further.{}",
      how_long_others(situation.now().facts), kOtherStiffer);
  return step;
}

bool brace_tried(const Situation& situation) {
  const auto now = situation.now().facts.bow.brace_height_m;
  return std::any_of(situation.setups.begin(), situation.setups.end(), [&](const SetupView& s) {
    const auto then = s.facts.bow.brace_height_m;
    return then && now && std::abs(*then - *now) > 1e-4;
  });
}

std::optional<Step> brace_step(const Situation& situation, const Outcome& outcome) {
  const BowFacts& bow = situation.now().facts.bow;
  constexpr double kStep_m = kInch / 8.0;
  if (!bow.brace_height_m || !bow.brace_min_m || !bow.brace_max_m || brace_tried(situation)) {
    return std::nullopt;
  }
  // Common practice: higher acts slightly stiffer. Some say otherwise, so it is a trial; where what
  // is known of this bow tells the way, that way.
  const Answer& brace = situation.learner.lateral(Quantity::brace_height);
  const double here_m = brace.at[brace.here];
  const double raised_deg =
      brace.told ? brace.median_at(here_m + kStep_m) - brace.median_at(here_m - kStep_m) : 0.0;
  const bool up = (outcome.median_deg < 0.0) == (raised_deg >= 0.0);
  const double after = *bow.brace_height_m + (up ? kStep_m : -kStep_m);
  if (after < *bow.brace_min_m || after > *bow.brace_max_m) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::fine_tune_brace;
  step.amount = kStep_m;
  step.words = fmt::format(
      "Fine-tune with the brace height: {} {} (to {}), and shoot again. The effect is small and "
      "goes either way from bow to bow: if the offset grows, go back.",
      up ? "raise it by" : "lower it by", inches_and_mm(kStep_m), inches_and_mm(after));
  step.because =
      "What is left is too small for the saw: " + reading_words(situation, outcome) + ".";
  return step;
}

// Shots of this set-up that stand with the others.
int agreeing(const Situation& situation) {
  int count = 0;
  const auto together = pooled(situation.setups, situation.now().facts, false);
  const bool apart = together && disagree(*together);
  for (const SetupView& setup : situation.setups) {
    if (apart ? &setup == &situation.now() : same_setup(setup.facts, situation.now().facts)) {
      count += static_cast<int>(
          std::count_if(setup.judgement.shots.begin(), setup.judgement.shots.end(),
                        [](const JudgedShot& shot) { return !shot.dropped && !shot.outlier; }));
    }
  }
  return count;
}

// Off to one side, but more likely straight than not: more shots where they help, then the brace
// height, then as it is.
Step likely_straight(const Situation& situation, const Outcome& outcome) {
  const double band = situation.options.dead_band_deg;
  const auto here = pooled(situation.setups, situation.now().facts, false);
  if (here->shots < kEnoughShots && more_shots_help(*here, outcome, band)) {
    return film_more(situation, outcome);
  }
  if (const auto brace = brace_step(situation, outcome)) {
    return *brace;
  }
  return std::abs(here->offset_deg.value) <= band
             ? finish_step(situation, reading_words(situation, outcome))
             : film_more(situation, outcome);
}

// Acts weak beyond doubt.
Step weak_step(const Situation& situation, const Answer& length, const Outcome& outcome,
               const Limits& limits) {
  if (how_it_answers(situation) == Answers::hardly) {
    Step step;
    step.kind = StepKind::stiffer_shaft;
    step.words = fmt::format(
        "Cut these no further: they do not answer. Try shafts one spine group stiffer, {}, or "
        "other "
        "arrows that are known to fly well, to see whether it is the shaft at all.",
        how_long_others(situation.now().facts));
    step.because =
        "The arrow acts weak, and what was taken off it has hardly moved it, though contact was "
        "looked for: " +
        reading_words(situation, outcome) + ".";
    return step;
  }
  if (const auto step = stiffer_without_a_cut(situation, outcome, limits, false)) {
    return *step;
  }
  if (!limits.unknown_for_shorter.empty()) {
    return ask_for(limits.unknown_for_shorter, "anything is cut or made lighter",
                   "The arrow acts weak: " + reading_words(situation, outcome) + ".");
  }
  const int shots = agreeing(situation);
  if (shots < rules::kFewestBeforeCut) {
    Step step;
    step.kind = StepKind::film_more;
    step.amount = rules::kUsualShots - shots;
    step.words = fmt::format("Cut nothing yet and film {} more shots of this set-up.",
                             rules::kUsualShots - shots);
    step.because = fmt::format("A cut cannot be undone and asks for {} shots that agree; {} do{}.",
                               rules::kFewestBeforeCut, shots, shots == 1 ? "es" : "");
    return step;
  }
  // A cut cannot be undone: none while it is more likely straight than not.
  constexpr double kMoreLikelyThanNot = 0.5;
  if (outcome.straight >= kMoreLikelyThanNot) {
    return likely_straight(situation, outcome);
  }
  if (auto step = contact_before_cut(situation)) {
    return *step;
  }
  const Trim trim = trim_for(situation, length, limits);
  // A crumb that takes an arrow to its limit and hardly moves it is not worth a cut.
  constexpr double kWorthwhile_m = kInch / 8.0;
  constexpr double kFarOff_deg = 1.0;
  const bool crumb = trim.amount_m < kWorthwhile_m - 1e-6 && !limits.trim_allowed(kWorthwhile_m) &&
                     outcome.median_deg < -kFarOff_deg;
  if (crumb) {
    return weak_without_trim(situation, outcome, limits);
  }
  if (trim.amount_m > 0.0) {
    return trim_step(situation, length, outcome, trim);
  }
  if (!limits.trim_allowed(kFineTrim_m)) {
    if (outcome.straight >= 0.5) {
      if (const auto brace = brace_step(situation, outcome)) {
        return *brace;
      }
    }
    return weak_without_trim(situation, outcome, limits);
  }
  return film_more(situation, outcome);
}

// What was told of the set-ups makes of this one something else than its own shots show, by far
// more than both intervals: a figure is wrong (a trim that was told by half, say), and a step on it
// may go the wrong way.
std::optional<Step> told_wrongly(const Situation& situation, const Pooled& here,
                                 const Outcome& outcome) {
  constexpr double kAtOdds = 2.0;  // of the mean's own interval
  const double apart_deg =
      std::abs(stiff_sign(situation.now().facts.hand) * here.offset_deg.value - outcome.median_deg);
  if (here.shots < rules::kFewestBeforeCut || apart_deg < kAtOdds * here.offset_deg.u95 ||
      apart_deg < situation.options.dead_band_deg) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::tell_facts;
  step.words =
      "Change nothing and cut nothing: a figure that was told does not go with what the shots "
      "show. Measure the shaft's length, weigh the tip, and check what was written of each set-up "
      "(length, tip, spine, brace height, plate, nocking point); put right what is wrong, or leave "
      "out the shots of a set-up that nobody can vouch for.";
  // What the string weighs makes a tenth to a fifth of what is not known of a cut's answer.
  if (!situation.now().facts.bow.string_mass_kg) {
    step.words += " Weigh the string as well (bow.string_mass), or one like it.";
  }
  step.because =
      "The shots alone and all that was told do not agree: " + reading_words(situation, outcome) +
      ".";
  return step;
}

}  // namespace

Step spine_step(const Situation& situation) {
  const SetupFacts& facts = situation.now().facts;
  const double band = situation.options.dead_band_deg;
  const Limits limits = limits_of(facts);
  if (facts.arrow.fletching == Fletching::fletched) {
    if (const auto step = fletched_step(situation, limits)) {
      return *step;
    }
  }
  if (facts.arrow.fletching == Fletching::unknown) {
    return ask_for({"fletching = \"bare\" or \"fletched\", as these were shot"},
                   "anything is done about the spine",
                   "Feathers hide a weak shaft by degrees: what this reading means hangs on it.");
  }
  const Answer& length = situation.learner.lateral(Quantity::shaft_length);
  const Outcome outcome = outcome_of(length, band);
  const auto here = pooled(situation.setups, facts, false);
  if (auto step = told_wrongly(situation, *here, outcome)) {
    return *step;
  }
  if (outcome.straight >= kDoneChance && std::abs(here->offset_deg.value) <= band) {
    return finish_step(situation, reading_words(situation, outcome));
  }
  if (outcome.negative >= kSideChance && outcome.straight < kDoneChance) {
    return weak_step(situation, length, outcome, limits);
  }
  if (1.0 - outcome.negative >= kSideChance && outcome.straight < kDoneChance) {
    return heavier_tip(situation, outcome, limits);
  }
  // With the phone put up anew, too, and no more to be had from either place.
  const bool from_two_places = here->setups >= 2 && here->shots >= 2 * rules::kUsualShots;
  const bool enough =
      here->shots >= kEnoughShots || (from_two_places && !more_shots_help(*here, outcome, band));
  if (enough && outcome.straight >= 0.5) {
    if (const auto brace = brace_step(situation, outcome)) {
      return *brace;
    }
    if (std::abs(here->offset_deg.value) <= band) {
      return finish_step(situation, reading_words(situation, outcome));
    }
  }
  return film_more(situation, outcome);
}

}  // namespace nocktrail::tune
