#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "advice.hpp"
#include "build_sheet.hpp"
#include "learning.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "setup_view.hpp"

namespace nocktrail::tune {
namespace {

bool changed_in(const std::vector<SetupView>& setups, Quantity quantity) {
  std::optional<double> first;
  for (const SetupView& setup : setups) {
    const auto value = value_of(quantity, setup.facts);
    if (value && first && std::abs(*value - *first) > 1e-7) {
      return true;
    }
    first = first ? first : value;
  }
  return false;
}

// The shaft's length is what a full-length arrow is tuned by: shown from the start.
bool to_be_changed(Quantity quantity, StepKind step) {
  switch (step) {
    case StepKind::heavier_tip:
    case StepKind::lighter_tip:
      return quantity == Quantity::shaft_length || quantity == Quantity::tip_mass;
    case StepKind::start_high:
    case StepKind::lower_nocking_point:
    case StepKind::raise_nocking_point:
      return quantity == Quantity::shaft_length || quantity == Quantity::nocking_point;
    case StepKind::weaker_shaft:
    case StepKind::stiffer_shaft:
      return quantity == Quantity::shaft_length || quantity == Quantity::spine;
    case StepKind::thinner_plate:
    case StepKind::thicker_plate:
      return quantity == Quantity::shaft_length || quantity == Quantity::plate_offset;
    case StepKind::fine_tune_brace:
      return quantity == Quantity::shaft_length || quantity == Quantity::brace_height;
    default:
      break;
  }
  return quantity == Quantity::shaft_length;
}

// Set-ups of the same facts are taken together; where they do not agree, that is said.
void say_where_alike_disagree(const Situation& situation, std::vector<std::string>& cautions) {
  for (const bool vertical : {false, true}) {
    const auto together = pooled(situation.setups, situation.now().facts, vertical);
    if (together && disagree(*together)) {
      cautions.push_back(fmt::format(
          "{} set-up{} of the same facts as the present one do{} not read as it does {}: something "
          "that was not written down changed between them (the shaft's length, its tip, a nocking "
          "point that slid, brace height, string, loose). They are taken together, with a wider "
          "interval; write down what changed, or leave out the shots that no longer hold.",
          together->setups - 1, together->setups == 2 ? "" : "s", together->setups == 2 ? "es" : "",
          vertical ? "up and down" : "sideways"));
    }
  }
}

// Limits that somebody told, or that always hold, and which nobody could hold anything against.
std::vector<std::string> unchecked_limits(const SetupFacts& facts, bool counted) {
  const BowFacts& bow = facts.bow;
  std::vector<std::string> cautions;
  if (!bow.draw_weight_n && limit_facts(facts).arrow_mass_kg) {
    cautions.emplace_back(
        "The bow's draw weight was not told, so nobody has checked the arrow's mass against it: 5 "
        "grains per pound held is the absolute floor, and the bow maker's limit wins.");
  }
  if (!bow.draw_weight_n && bow.max_draw_weight_n) {
    cautions.emplace_back(
        "The maker's greatest draw weight was told, but not the bow's own: it was not checked.");
  }
  if (bow.draw_weight_n && bow.max_draw_weight_n && !facts.draw_m) {
    cautions.emplace_back(
        "The archer's draw length was not told, so the maker's greatest draw weight was held "
        "against the marked weight: a longer draw holds more.");
  }
  if (counted && facts.draw_m && !facts.arrow.shaft_length_m && !facts.arrow.arrow_length_m) {
    cautions.emplace_back(
        "The shaft's length was not told, so nobody has checked that it reaches past the rest at "
        "full draw.");
  }
  if (!facts.draw_m && bow.max_draw_m) {
    cautions.emplace_back(
        "The maker's greatest draw was told, but not the archer's: it was not checked.");
  }
  if (!bow.brace_height_m && (bow.brace_min_m || bow.brace_max_m)) {
    cautions.emplace_back(
        "The maker's brace heights were told, but not how the bow is braced: it was not checked.");
  }
  return cautions;
}

// A maker's limit that one set-up tells wider than another of the same bow: it cannot have grown.
void say_widened_limits(const Situation& situation, std::vector<std::string>& cautions) {
  struct Limit {
    const char* words;
    std::optional<double> BowFacts::*value;
    double wider;  // sign of the wide side
  };
  constexpr std::array kLimits = {
      Limit{"the least brace height", &BowFacts::brace_min_m, -1.0},
      Limit{"the greatest brace height", &BowFacts::brace_max_m, 1.0},
      Limit{"the lightest arrow", &BowFacts::min_grains_per_pound, -1.0},
      Limit{"the greatest draw", &BowFacts::max_draw_m, 1.0},
      Limit{"the greatest draw weight", &BowFacts::max_draw_weight_n, 1.0}};
  const BowFacts& now = situation.now().facts.bow;
  for (const Limit& limit : kLimits) {
    for (std::size_t i = 0; i < situation.latest; ++i) {
      const SetupView& setup = situation.setups[i];
      const auto& then = setup.facts.bow.*limit.value;
      const auto& is = now.*limit.value;
      constexpr double kSame = 1e-6;
      if (then && is && !other_name(setup.facts.bow.name, now.name) &&
          limit.wider * (*is - *then) > kSame * std::abs(*then)) {
        cautions.push_back(fmt::format(
            "The maker's limit on {} is told wider in this set-up than in {}: it is the maker's, "
            "not the archer's to widen. Tell the one that the maker gives.",
            limit.words, rules::printable(setup.judgement.name)));
        break;
      }
    }
  }
}

}  // namespace

SessionJudgement judge_session(const SessionRecord& session, const JudgementOptions& options) {
  SessionJudgement judgement;
  const std::vector<SetupView> setups = summarised(session, options, judgement.cautions);
  for (const SetupView& setup : setups) {
    judgement.setups.push_back(setup.judgement);
    judgement.setups.back().stops = stops_of(setup);
  }
  if (setups.empty()) {
    judgement.next.kind = StepKind::film_more;
    judgement.next.words = "Film four shots of a first set-up: full-length, nocking point high.";
    judgement.next.because = "The session has no set-up yet.";
    return judgement;
  }
  Learner learner(setups, setups.size() - 1, options);
  const Situation situation{setups, setups.size() - 1, options, learner};
  judgement.next = next_step(situation);
  say_where_alike_disagree(situation, judgement.cautions);
  say_widened_limits(situation, judgement.cautions);
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const auto quantity = static_cast<Quantity>(q);
    const bool known = value_of(quantity, situation.now().facts).has_value();
    // Without the hand nothing can be said of sideways.
    const bool sensible =
        quantity == Quantity::nocking_point || situation.now().facts.hand != Hand::unknown;
    if (known && sensible &&
        (changed_in(setups, quantity) || to_be_changed(quantity, judgement.next.kind))) {
      judgement.learned.push_back(quantity == Quantity::nocking_point
                                      ? learner.vertical(quantity).learned
                                      : learner.lateral(quantity).learned);
    }
  }
  const auto shots = pooled(setups, situation.now().facts, false);
  if (forbids(judgement.next.kind) || !shots || shots->shots < rules::kFewestShots) {
    // No way on while something forbids to shoot, or so few shots tell hardly anything: where it
    // would be straight is a way on, and somebody may cut to it.
    for (Learned& learned : judgement.learned) {
      learned.straight_at.reset();
    }
  }
  if (judgement.next.kind == StepKind::done) {
    judgement.build_sheet = build_sheet(situation);
  }
  // What forbids stands in the step already.
  for (const arrow::Caution& caution : arrow::cautions(limit_facts(situation.now().facts))) {
    if (caution.forbids == arrow::Forbids::nothing) {
      judgement.cautions.push_back("As it is: " + caution.text);
    }
  }
  if (!limit_facts(situation.now().facts).arrow_mass_kg) {
    judgement.cautions.emplace_back(
        "The arrow's mass was not told, so nobody has checked it against the bow: weigh it. 5 "
        "grains per pound held is the absolute floor, and the bow maker's limit wins.");
  }
  for (const std::string& unchecked :
       unchecked_limits(situation.now().facts, counted(situation.now()))) {
    judgement.cautions.push_back(unchecked);
  }
  const std::vector<std::string>& missing = learner.present().missing;
  if (!missing.empty()) {
    std::string text =
        "The arrow model was left out, the advice rests on the shots and on common "
        "practice; it would need: ";
    for (std::size_t i = 0; i < missing.size(); ++i) {
      text += (i == 0 ? "" : ", ") + missing[i];
    }
    judgement.cautions.push_back(text + ".");
  }
  if (judgement.build_sheet) {
    // Whoever builds the arrows may have nothing but the sheet.
    std::vector<std::string>& on_sheet = judgement.build_sheet->cautions;
    std::vector<std::string> first;
    const auto carry = [&](const std::vector<std::string>& cautions) {
      for (const std::string& caution : cautions) {
        if (std::find(on_sheet.begin(), on_sheet.end(), caution) == on_sheet.end()) {
          first.push_back(caution);
        }
      }
    };
    carry(judgement.next.cautions);
    carry(judgement.cautions);
    on_sheet.insert(on_sheet.begin(), first.begin(), first.end());
  }
  return judgement;
}

}  // namespace nocktrail::tune
