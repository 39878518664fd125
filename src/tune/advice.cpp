#include "advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/cant.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

// Scatter that no mean of a handful of shots gets past.
constexpr double kFormFirst_deg = 2.0;

Step step_from(const rules::Asked& asked) {
  Step step;
  step.kind = asked.step;
  step.words = asked.words;
  step.because = asked.because;
  if (asked.step == StepKind::film_more) {
    step.amount = asked.amount;
  }
  return step;
}

// What is known to be beyond a limit comes before everything, shots or none.
std::optional<Step> gate_step(const Situation& situation) {
  return limit_step(situation.now().facts);
}

// An arrow whose mass was not told, but whose parts as far as they are known make it too light.
std::optional<Step> weigh_step(const Situation& situation) {
  arrow::LimitFacts told = limit_facts(situation.now().facts);
  if (told.arrow_mass_kg) {
    // Its feathers were not weighed, and only with heavy ones is it heavy enough.
    told.arrow_mass_slack_kg = 0.0;
    const std::vector<arrow::Caution> likely = arrow::stops(told);
    const bool too_light = std::any_of(likely.begin(), likely.end(), [](const auto& caution) {
      return caution.kind == arrow::CautionKind::below_maker_mass ||
             caution.kind == arrow::CautionKind::below_floor_mass;
    });
    return too_light
               ? std::optional(ask_for(
                     {"the arrow's mass, weighed as it is shot"}, "it is shot again",
                     "Its feathers were not weighed, and without them: " + likely.front().text))
               : std::nullopt;
  }
  const auto& model = situation.learner.present().setup;
  arrow::LimitFacts guessed = model ? arrow::limit_facts(*model) : told;
  if (!model) {
    // Without the facts of a model: usual figures (common practice, no source).
    constexpr double kUsualShaft_kg_per_m = 8.0 * units::kKilogramsPerGrain / units::kMetresPerInch;
    constexpr double kUsualTip_kg = 100.0 * units::kKilogramsPerGrain;
    constexpr double kUsualNock_kg = 10.0 * units::kKilogramsPerGrain;
    constexpr double kUsualLength_m = 29.0 * units::kMetresPerInch;
    const ArrowFacts& arrow = situation.now().facts.arrow;
    guessed.arrow_mass_kg =
        arrow.shaft_length_m.value_or(arrow.arrow_length_m.value_or(kUsualLength_m)) *
            arrow.mass_per_length_kg_per_m.value_or(kUsualShaft_kg_per_m) +
        arrow.tip_mass_kg.value_or(kUsualTip_kg) + arrow.nock_mass_kg.value_or(kUsualNock_kg) +
        arrow.fletching_mass_kg.value_or(0.0);
  }
  // Without its feathers it is no heavier than with them.
  for (const SetupView& setup : situation.setups) {
    const SetupFacts& then = setup.facts;
    const SetupFacts& now = situation.now().facts;
    const auto tip_then = value_of(Quantity::tip_mass, then);
    const auto tip_now = value_of(Quantity::tip_mass, now);
    if (now.arrow.fletching != Fletching::fletched && then.arrow.fletching == Fletching::fletched &&
        then.arrow.total_mass_kg && !another_shaft(then, now) &&
        value_of(Quantity::spine, then) == value_of(Quantity::spine, now) &&
        (!tip_then || !tip_now || *tip_now < *tip_then + 1e-6)) {
      guessed.arrow_mass_kg = std::min(guessed.arrow_mass_kg.value_or(*then.arrow.total_mass_kg),
                                       *then.arrow.total_mass_kg);
    }
  }
  const std::vector<arrow::Caution> likely = arrow::stops(guessed);
  if (likely.empty()) {
    return std::nullopt;
  }
  return ask_for({"the arrow's mass, weighed"}, "it is shot again",
                 "Its mass was not told, and as its parts are estimated it would be beyond a "
                 "limit: " +
                     likely.front().text);
}

rules::Evidence evidence_of(const Situation& situation) {
  const SetupView& now = situation.now();
  const auto lateral = pooled(situation.setups, now.facts, false);
  const auto vertical = pooled(situation.setups, now.facts, true);
  rules::Evidence evidence;
  evidence.shots = lateral ? lateral->shots : 0;
  evidence.refused = now.judgement.refused;
  evidence.hand = now.facts.hand;
  evidence.fletched = now.facts.arrow.fletching == Fletching::fletched;
  evidence.dead_band_deg = situation.options.dead_band_deg;
  evidence.bare = now.facts.arrow.fletching == Fletching::bare;
  evidence.at_odds = now.against_hand;
  evidence.how_to_tell_hand = "among the facts; hand = \"right\" or \"left\" in session.toml";
  evidence.how_to_tell_cant = "among the facts; cant = DEGREES in session.toml";
  if (!lateral || !vertical) {
    return evidence;
  }
  evidence.lat_deg = lateral->offset_deg;
  evidence.vert_deg = vertical->offset_deg;
  if (const auto pictured =
          as_pictured(now, lateral->offset_deg, vertical->offset_deg, now.judgement.correlation)) {
    evidence.denied_cant =
        rules::DeniedCant{now.judgement.bow.cant_deg.value, *now.denied_cant_deg, *pictured};
  }
  // Back into the range frame, from which the cant turns.
  const Bow& bow = now.judgement.bow;
  const rules::BowFrameReading range = rules::bow_frame_from_range(
      lateral->offset_deg, vertical->offset_deg, 0.0, -bow.cant_deg.value);
  evidence.hangs_on_cant =
      rules::hangs_on_cant(range.lat_deg.value, range.vert_deg.value, bow, evidence.dead_band_deg);
  return evidence;
}

// One bow, two hands: one of them is a slip, and with it weak and stiff change places.
std::optional<Step> one_hand_step(const Situation& situation) {
  const SetupView& now = situation.now();
  for (const SetupView& setup : situation.setups) {
    const Hand hand = setup.facts.hand;
    if (!counted(setup) || hand == Hand::unknown || now.facts.hand == Hand::unknown ||
        hand == now.facts.hand || other_name(setup.facts.bow.name, now.facts.bow.name)) {
      continue;
    }
    Step step;
    step.kind = StepKind::tell_hand;
    step.words = fmt::format(
        "Look at the hand: {} is told as {}-handed and {} as {}-handed. Tell it as it is in both "
        "(hand, among the facts). If these are two bows, tell their names; two archers keep a "
        "session each.",
        rules::printable(setup.judgement.name), hand == Hand::right ? "right" : "left",
        rules::printable(now.judgement.name), now.facts.hand == Hand::right ? "right" : "left");
    step.because = "With the other hand weak and stiff change places.";
    return step;
  }
  return std::nullopt;
}

// A cut cannot be undone, and with the other hand it goes the wrong way.
Step no_cut_against_the_hand(const Situation& situation, const Bow& bow) {
  Step step;
  step.kind = StepKind::tell_hand;
  step.words = fmt::format(
      "Cut nothing, and look at the hand and the cant: a {}-handed archer was told, and a cant of "
      "{:+.0f} deg (positive: the upper limb to the shooter's right), which hardly go together. "
      "Put right what is a slip. If both are as told, nothing is cut on this program's word: try "
      "shafts one spine group stiffer, {}, or a lighter tip.",
      bow.hand == Hand::right ? "right" : "left", bow.cant_deg.value,
      how_long_others(situation.now().facts));
  step.because = "With the other hand weak and stiff change places, and a cut cannot be undone.";
  return step;
}

std::optional<Step> asked_first(const Situation& situation) {
  const auto asked = rules::before_change(evidence_of(situation));
  return asked ? std::optional(step_from(*asked)) : std::nullopt;
}

std::optional<Step> form_step(const Situation& situation) {
  const SetupJudgement& now = situation.now().judgement;
  if (!counted(situation.now())) {
    return std::nullopt;
  }
  const double scatter = std::max(now.lateral->scatter_deg, now.vertical->scatter_deg);
  const bool open =
      now.spine == SpineVerdict::unclear || now.nocking_point == NockingPointVerdict::unclear;
  if (now.counted < rules::kFewestShots || scatter < kFormFirst_deg || !open) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::mind_form;
  constexpr int kMost = 100;
  const int needed = shots_needed(scatter, situation.options.dead_band_deg, kMost);
  step.words =
      "Form first: see that the nocks hold the string alike, neither tight nor loose; an even "
      "loose, "
      "the same draw from shot to shot, no torque. Come closer, shoot fletched arrows until they "
      "group, then shoot this set-up again.";
  step.because =
      needed > kMost
          ? fmt::format(
                "The shots scatter by {:.1f} deg, and over {} of them would be needed to "
                "see half a degree.",
                scatter, kMost)
          : fmt::format("The shots scatter by {:.1f} deg; {} more would settle it at that.",
                        scatter, std::max(1, needed - now.counted));
  return step;
}

}  // namespace

Step ask_for(const std::vector<std::string>& unknown, const std::string& before,
             const std::string& because) {
  Step step;
  step.kind = StepKind::tell_facts;
  step.words =
      fmt::format("Before {}, tell {}: write it among the facts (session.toml or setup.toml).",
                  before, fmt::join(unknown, ", "));
  step.because = because;
  return step;
}

bool another_shaft(const SetupFacts& a, const SetupFacts& b) {
  constexpr double kAlike = 0.02;
  const auto differ = [](const std::optional<double>& one, const std::optional<double>& other) {
    return one && other && std::abs(*one - *other) > kAlike * std::max(*one, *other);
  };
  return other_name(a.arrow.name, b.arrow.name) || differ(a.arrow.diameter_m, b.arrow.diameter_m) ||
         differ(a.arrow.mass_per_length_kg_per_m, b.arrow.mass_per_length_kg_per_m);
}

std::string how_long_others(const SetupFacts& facts) {
  // Shafts are sold in lengths from here on (common practice, no source).
  constexpr double kFull_m = 30.0 * units::kMetresPerInch;
  const auto& shaft_m = facts.arrow.shaft_length_m;
  return shaft_m && *shaft_m < kFull_m
             ? fmt::format("left no more than an inch longer than these ({})",
                           inches_and_mm(*shaft_m))
             : std::string("full length");
}

bool same_setup(const SetupFacts& a, const SetupFacts& b) {
  if (rest_of(a) != rest_of(b) || another_shaft(a, b)) {
    return false;
  }
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const auto quantity = static_cast<Quantity>(q);
    const auto in_a = value_of(quantity, a);
    const auto in_b = value_of(quantity, b);
    // A hundredth of the usual step is no change.
    const double tolerance = quantity == Quantity::tip_mass ? 1e-5 : 1e-4;
    if (in_a.has_value() != in_b.has_value() ||
        (in_a && std::abs(*in_a - *in_b) > (quantity == Quantity::spine ? 1e-2 : tolerance))) {
      return false;
    }
  }
  return true;
}

const SetupView* with_fletching(const Situation& situation, Fletching fletching) {
  SetupFacts other = situation.now().facts;
  other.arrow.fletching = fletching;
  const SetupView* found = nullptr;
  for (const SetupView& setup : situation.setups) {
    if (setup.facts.arrow.fletching == fletching && same_setup(setup.facts, other) &&
        counted(setup)) {
      found = &setup;
    }
  }
  const bool enough = found != nullptr &&
                      pooled(situation.setups, found->facts, false)->shots >= rules::kFewestShots;
  return enough ? found : nullptr;
}

std::optional<Pooled> pooled(const std::vector<SetupView>& setups, const SetupFacts& like,
                             bool vertical) {
  Pooled result;
  double weight_sum = 0.0;
  double variance_sum = 0.0;
  double square_sum = 0.0;
  double cant_u95 = 0.0;
  double elsewhere_sum = 0.0;
  double place_squares = 0.0;
  for (const SetupView& setup : setups) {
    if (!counted(setup) || !same_setup(setup.facts, like)) {
      continue;
    }
    const OffsetSummary& offset = vertical ? *setup.judgement.vertical : *setup.judgement.lateral;
    // What is not known of the cant, and what the readings share, is alike in all of them and does
    // not average out.
    const double own_u95 = std::sqrt(std::max(
        offset.u95_deg * offset.u95_deg - offset.lasting_u95_deg * offset.lasting_u95_deg, 1e-12));
    const double weight = 1.0 / (own_u95 * own_u95);
    const double u = own_u95 / student_factor(offset.freedom);
    cant_u95 = std::max(cant_u95, offset.cant_u95_deg);
    elsewhere_sum += weight * offset.elsewhere_u95_deg;
    place_squares += weight * weight *
                     std::max(offset.lasting_u95_deg * offset.lasting_u95_deg -
                                  offset.cant_u95_deg * offset.cant_u95_deg -
                                  offset.elsewhere_u95_deg * offset.elsewhere_u95_deg,
                              0.0);
    result.offset_deg.value += weight * offset.mean_deg;
    square_sum += weight * offset.mean_deg * offset.mean_deg;
    weight_sum += weight;
    ++result.setups;
    result.shots += setup.judgement.counted;
    variance_sum += setup.judgement.counted * setup.judgement.counted * u * u;
  }
  if (result.shots == 0) {
    return std::nullopt;
  }
  result.offset_deg.value /= weight_sum;
  // The phone was put up anew for each.
  result.lasting_u95_deg =
      std::hypot(cant_u95, elsewhere_sum / weight_sum, std::sqrt(place_squares) / weight_sum);
  if (result.setups > 1) {
    // From 95 % half widths to standard deviations: a factor of 1.96 each way, near enough.
    constexpr double kSigmas = 1.96;
    const double mean = result.offset_deg.value;
    const double left = std::max(square_sum - weight_sum * mean * mean, 0.0);
    result.birge_ratio = kSigmas * std::sqrt(left / (result.setups - 1));
  }
  result.offset_deg.u95 =
      std::hypot(std::max(result.birge_ratio, 1.0) / std::sqrt(weight_sum), result.lasting_u95_deg);
  result.per_shot_sd_deg = std::sqrt(variance_sum / result.shots);
  return result;
}

bool disagree(const Pooled& pooled) {
  constexpr double kBeyondChance = 2.0;  // standard deviations
  return pooled.setups > 1 && pooled.birge_ratio > kBeyondChance;
}

Step next_step(const Situation& situation) {
  using Turn = std::optional<Step> (*)(const Situation&);
  constexpr Turn kOrder[] = {gate_step,    mismatch_step, one_hand_step,
                             weigh_step,   asked_first,   form_step,
                             contact_step, not_bare_step, nocking_point_step};
  std::optional<Step> step;
  for (const Turn turn : kOrder) {
    if ((step = turn(situation))) {
      break;
    }
  }
  if (!step) {
    step = spine_step(situation);
    const NockingPointVerdict left = situation.now().judgement.nocking_point;
    if (step->kind != StepKind::look_for_cause &&
        (left == NockingPointVerdict::high || left == NockingPointVerdict::low)) {
      step->cautions.push_back(
          fmt::format("Nock {} is left {}: look for contact with the shelf, an uneven pull of the "
                      "fingers, or a "
                      "tight nock.",
                      rules::word(left),
                      situation.now().facts.accepted_nock_height.empty()
                          ? "that the nocking point does not take away"
                          : "as its archer accepted it"));
    }
  }
  const Bow& bow = situation.now().judgement.bow;
  if (step->kind == StepKind::trim_shaft && rules::leans_the_other_way(bow)) {
    step = no_cut_against_the_hand(situation, bow);
  } else if (!forbids(step->kind) && rules::leans_the_other_way(bow)) {
    step->cautions.push_back(
        fmt::format("The cant of {:+.0f} deg leans to the side that does not go with the hand: if "
                    "its sign is a "
                    "slip, this step may be the wrong way. Look before you change anything.",
                    bow.cant_deg.value));
  }
  add_cautions(*step, situation);
  return *step;
}

}  // namespace nocktrail::tune
