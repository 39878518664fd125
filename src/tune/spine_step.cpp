// Sideways: trim, tip, shaft or plate, by what this bow was learned to answer.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;
constexpr double kDoneChance = 0.92;  // that the mean offset is inside the dead band
constexpr double kSideChance = 0.95;  // that it lies on one side, before anything is changed
constexpr double kPlateStep_m = kInch / 32.0;
// A thicker plate than this is not built up for the sake of spine (common practice, no source).
constexpr double kThickestPlate_m = 3.0 / 16.0 * kInch;
constexpr double kTrialTip_kg = 25.0 * kGrain;  // shows which way the arrow answers before a cut
const char* const kOtherStiffer =
    " Other changes that can be undone and act stiffer: a heavier string or silencers (a slower "
    "bow).";
const char* const kOtherWeaker =
    " Other changes that can be undone and act weaker: a thinner strike plate, a lighter string, "
    "silencers taken off (a faster bow).";
constexpr double kFineTrim_m = kInch / 32.0;
constexpr double kNearZero_m = 0.5 * kInch;  // of trim left: from here on a part of it at a time
constexpr double kNearShare = 0.6;
constexpr double kFineTip_kg = 5.0 * kGrain;
constexpr double kLargestTipStep_kg = 50.0 * kGrain;
constexpr double kLargestTipNeed_kg = 100.0 * kGrain;  // beyond, other shafts serve better
constexpr double kPlateReach_deg = 1.5;  // stiffer by more, and thinning the plate will not do
constexpr double kLightestTip_kg = 60.0 * kGrain;
constexpr int kFewestMore = 3;
constexpr int kMostMore = 12;  // asked for at a time
constexpr int kHopeless = 30;  // more than this: form first
constexpr int kEnoughShots = 40;

struct Outcome {
  double weak = 0.0;  // chances at the present set-up
  double stiff = 0.0;
  double straight = 0.0;
  double negative = 0.0;
  double median_deg = 0.0;  // positive acts stiff
  double sd_deg = 0.0;
};

Outcome outcome_of(const Answer& answer, double band) {
  Outcome outcome;
  outcome.stiff = answer.chance(answer.here, band);
  outcome.weak = 1.0 - answer.chance(answer.here, -band);
  outcome.straight = 1.0 - outcome.stiff - outcome.weak;
  outcome.negative = 1.0 - answer.chance(answer.here, 0.0);
  outcome.median_deg = answer.median(answer.here);
  const Eigen::VectorXd column = answer.offset_deg.col(static_cast<Eigen::Index>(answer.here));
  outcome.sd_deg = std::sqrt((column.array() - column.mean()).square().mean());
  return outcome;
}

struct Trim {
  double amount_m = 0.0;  // 0: none is safe
  double overshoot = 0.0;
};

// The longest trim, in thirty-seconds of an inch, that most likely does not pass zero, passes the
// dead band with less than the allowed chance, and keeps to a part of what is left near zero.
Trim trim_for(const Situation& situation, const Answer& answer, const Limits& limits) {
  const JudgementOptions& options = situation.options;
  const double here = answer.at[answer.here];
  const double left = answer.learned.straight_at
                          ? std::max(0.0, here - answer.learned.straight_at->median)
                          : options.largest_trim_m * 4.0;
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

std::string reading_words(const Situation& situation, const Outcome& outcome) {
  const auto shots = pooled(situation.setups, situation.now().facts, false);
  const double side = stiff_sign(situation.now().facts.hand);
  return fmt::format(
      "the mean of {} shots is {}; with all set-ups and what is known of bows it is {}, the "
      "chance that it is straight {}",
      shots->shots, rules::lateral_words(shots->offset_deg),
      rules::lateral_words({side * outcome.median_deg, 1.959964 * outcome.sd_deg}),
      chance_words(outcome.straight));
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

Step film_more(const Situation& situation, const Outcome& outcome) {
  const double band = situation.options.dead_band_deg;
  const auto here = pooled(situation.setups, situation.now().facts, false);
  // The mean must come to lie inside the band, or clear of zero, with its uncertainty: the margin
  // over Student's factor is the standard uncertainty to reach, and precision adds up over shots.
  const double margin = std::max(band - std::abs(outcome.median_deg), 0.4 * band);
  const double wanted_sd = margin / student_factor(std::max(2.0, here->shots - 1.0), 0.8);
  const double gain = 1.0 / (wanted_sd * wanted_sd) - 1.0 / (outcome.sd_deg * outcome.sd_deg);
  const double more = std::ceil(here->per_shot_sd_deg * here->per_shot_sd_deg * gain);
  Step step;
  step.because = "Scatter hides the answer: " + reading_words(situation, outcome) + ".";
  if (more > kHopeless) {
    step.kind = StepKind::mind_form;
    step.words = fmt::format(
        "Form first: at this scatter it would take some {:.0f} more shots to settle it. Work on an "
        "even loose and the same draw from shot to shot, come closer, then shoot this set-up "
        "again.",
        more);
    return step;
  }
  step.kind = StepKind::film_more;
  const int asked = std::clamp(static_cast<int>(more), kFewestMore, kMostMore);
  step.amount = asked;
  step.words = fmt::format("Change nothing and film {} more shots of this set-up.", asked);
  return step;
}

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
  const Answer& tip = situation.learner.lateral(Quantity::tip_mass);
  const std::optional<double> needed = tip_change(tip, true);
  if (!needed || *needed > kLargestTipNeed_kg) {
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
      step.words =
          "Try shafts one spine group weaker, full length: more than 100 gr of tip would be needed "
          "to bring these to straight. A thinner strike plate helps a little.";
      return step;
    }
  }
  // With weaker shafts tried before, or too light for the bow, the tip goes on a step at a time.
  const double amount = std::min(needed.value_or(kLargestTipStep_kg), kLargestTipStep_kg);
  step.kind = StepKind::heavier_tip;
  step.amount = amount;
  step.words = fmt::format(
      "Fit a tip {:.0f} gr heavier ({:.0f} gr) and shoot again: the arrow must act weaker.",
      amount / kGrain, (*facts.arrow.tip_mass_kg + amount) / kGrain);
  step.words += kOtherWeaker;
  return step;
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

// What can be undone and makes the arrow act stiffer: first what most likely is enough by itself,
// else, before a shaft is cut for the first time, a trial of the direction.
std::optional<Step> stiffer_without_a_cut(const Situation& situation, const Outcome& outcome,
                                          const Limits& limits, bool whatever_helps) {
  const std::string because = "The arrow acts weak, and what can be undone comes before a cut: " +
                              reading_words(situation, outcome) + ".";
  const SetupFacts& facts = situation.now().facts;
  const bool trial = whatever_helps || !tried_toward_stiff(situation);
  if (facts.arrow.tip_mass_kg) {
    const auto needed = tip_change(situation.learner.lateral(Quantity::tip_mass), false);
    const double wanted = std::min(needed.value_or(kLargestTipStep_kg), kLargestTipStep_kg);
    const double spare = tip_spare_kg(situation, limits, wanted);
    if (needed && *needed <= kLargestTipStep_kg && spare >= *needed - 1e-9) {
      return lighter_tip(situation, *needed, because);
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
  step.words =
      "Try shafts one spine group stiffer, full length: these cannot be cut or lightened any "
      "further.";
  step.words += kOtherStiffer;
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
  // Common practice: higher acts slightly stiffer. Some say otherwise, so it is a trial.
  const bool up = outcome.median_deg < 0.0;
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
  for (const SetupView& setup : situation.setups) {
    if (same_setup(setup.facts, situation.now().facts)) {
      count += static_cast<int>(
          std::count_if(setup.judgement.shots.begin(), setup.judgement.shots.end(),
                        [](const JudgedShot& shot) { return !shot.dropped && !shot.outlier; }));
    }
  }
  return count;
}

// Acts weak beyond doubt.
Step weak_step(const Situation& situation, const Answer& length, const Outcome& outcome,
               const Limits& limits) {
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
  const Trim trim = trim_for(situation, length, limits);
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
  if (outcome.straight >= kDoneChance && std::abs(here->offset_deg.value) <= band) {
    return finish_step(situation, reading_words(situation, outcome));
  }
  if (outcome.negative >= kSideChance && outcome.straight < kDoneChance) {
    return weak_step(situation, length, outcome, limits);
  }
  if (1.0 - outcome.negative >= kSideChance && outcome.straight < kDoneChance) {
    return heavier_tip(situation, outcome, limits);
  }
  if (here->shots >= kEnoughShots && outcome.straight >= 0.5) {
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
