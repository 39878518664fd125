// A known change must move the reading its known way; when it does not, the reading is not spine.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::tune {
namespace {

constexpr int kLookedFor = 12;  // shots of a set-up: about two sittings

// Sign of "acts stiffer" with more of the quantity; 0 where practice does not agree.
int stiffer_with_more(Quantity quantity) {
  switch (quantity) {
    case Quantity::shaft_length:
    case Quantity::tip_mass:
      return -1;
    case Quantity::plate_offset:
    case Quantity::spine:
      return 1;
    case Quantity::nocking_point:
    case Quantity::brace_height:
      break;
  }
  return 0;
}

const char* change_words(Quantity quantity, bool more) {
  switch (quantity) {
    case Quantity::shaft_length:
      return more ? "a longer shaft" : "a shorter shaft";
    case Quantity::tip_mass:
      return more ? "a heavier tip" : "a lighter tip";
    case Quantity::plate_offset:
      return more ? "a thicker strike plate" : "a thinner strike plate";
    case Quantity::spine:
      return more ? "a stiffer shaft" : "a weaker shaft";
    case Quantity::nocking_point:
    case Quantity::brace_height:
      break;
  }
  return "the change";
}

Step look_for_contact() {
  Step step;
  step.kind = StepKind::check_contact;
  step.words =
      "Cut and change nothing more. Look for contact or a false reading, not spine: powder or "
      "lipstick on shelf, plate and fletching shows a touch; a tight nock, a plucked or collapsed "
      "loose, torque, a short draw and unequal arrows read falsely. Then shoot this set-up again.";
  return step;
}

// Shots of this shaft as it is now, whatever was done to the bow meanwhile.
int shots_as_it_is(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  int shots = 0;
  for (const SetupView& setup : situation.setups) {
    const SetupFacts& then = setup.facts;
    if (then.arrow.fletching == now.arrow.fletching && !another_shaft(then, now) &&
        value_of(Quantity::spine, then) == value_of(Quantity::spine, now) &&
        value_of(Quantity::shaft_length, then) == value_of(Quantity::shaft_length, now) &&
        value_of(Quantity::tip_mass, then) == value_of(Quantity::tip_mass, now)) {
      shots += setup.judgement.counted;
    }
  }
  return shots;
}

}  // namespace

Answers how_it_answers(const Situation& situation) {
  // Half an inch and 25 gr together; less than three tenths of what is usual, interval included, is
  // no answer, and less than half of that is a doubtful one whatever the interval. No source: well
  // outside what bows differ by (tune_loop's worlds answer 0.6 to 2.2 times the model).
  constexpr double kEnough_deg = 1.5;
  constexpr double kAnswer = 0.3;
  constexpr double kDoubtful = 0.15;
  const SetupFacts& now = situation.now().facts;
  Answers worst = Answers::well;
  if (now.hand == Hand::unknown || !counted(situation.now())) {
    return worst;
  }
  const Measured is = pooled(situation.setups, now, false)->offset_deg;
  for (const SetupView& setup : situation.setups) {
    const SetupFacts& then = setup.facts;
    if (!counted(setup) || rest_of(then) != rest_of(now) || another_shaft(then, now) ||
        value_of(Quantity::spine, then) != value_of(Quantity::spine, now) ||
        value_of(Quantity::plate_offset, then) != value_of(Quantity::plate_offset, now)) {
      continue;
    }
    const auto longer = [](const std::optional<double>& a, const std::optional<double>& b) {
      return a && b && *b > *a + 1e-4;
    };
    const double expected_deg = usually_stiffer_deg(then, now);
    if (expected_deg < kEnough_deg || longer(then.arrow.shaft_length_m, now.arrow.shaft_length_m)) {
      continue;
    }
    const Measured was = pooled(situation.setups, then, false)->offset_deg;
    const double answered_deg = stiff_sign(now.hand) * (is.value - was.value);
    if (answered_deg + std::hypot(was.u95, is.u95) < kAnswer * expected_deg) {
      return Answers::hardly;
    }
    if (answered_deg < kDoubtful * expected_deg) {
      worst = Answers::doubtfully;
    }
  }
  return worst;
}

std::optional<Step> contact_before_cut(const Situation& situation) {
  if (how_it_answers(situation) == Answers::well || shots_as_it_is(situation) >= kLookedFor) {
    return std::nullopt;
  }
  Step step = look_for_contact();
  step.because = fmt::format(
      "What was taken off this shaft should have made it act stiffer by degrees, and it did not: "
      "now {}.",
      rules::lateral_words(pooled(situation.setups, situation.now().facts, false)->offset_deg));
  return step;
}

std::optional<Step> contact_step(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  if (how_it_answers(situation) == Answers::hardly) {
    if (auto step = contact_before_cut(situation)) {
      return step;
    }
  }
  const SetupView* before = nullptr;
  for (std::size_t i = situation.latest; i-- > 0 && before == nullptr;) {
    if (counted(situation.setups[i]) && !same_setup(situation.setups[i].facts, now)) {
      before = &situation.setups[i];
    }
  }
  if (before == nullptr || rest_of(before->facts) != rest_of(now) || now.hand == Hand::unknown) {
    return std::nullopt;
  }
  std::optional<Quantity> changed;
  double more = 0.0;
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const auto quantity = static_cast<Quantity>(q);
    const auto was = value_of(quantity, before->facts);
    const auto is = value_of(quantity, now);
    if (was.has_value() != is.has_value()) {
      return std::nullopt;
    }
    // The nocking point does not touch the sideways offset.
    if (was && std::abs(*is - *was) > 1e-7 && quantity != Quantity::nocking_point) {
      if (changed) {
        return std::nullopt;
      }
      changed = quantity;
      more = *is - *was;
    }
  }
  if (!changed || stiffer_with_more(*changed) == 0) {
    return std::nullopt;
  }
  // Shafts do not grow: a longer one is another one, of which more than its length is new.
  if (*changed == Quantity::shaft_length && more > 0.0) {
    return std::nullopt;
  }
  const Measured was = pooled(situation.setups, before->facts, false)->offset_deg;
  const Measured is = pooled(situation.setups, now, false)->offset_deg;
  const double expected = (more > 0.0 ? 1.0 : -1.0) * stiffer_with_more(*changed);
  const double toward_expected = expected * stiff_sign(now.hand) * (is.value - was.value);
  const double u95 = std::hypot(was.u95, is.u95);
  if (toward_expected > -std::max(u95, 0.5 * situation.options.dead_band_deg)) {
    return std::nullopt;
  }
  // Looked for once, and shot again: it stays a caution, and the shots count as they are.
  if (pooled(situation.setups, now, false)->shots >= kLookedFor) {
    return std::nullopt;
  }
  Step step = look_for_contact();
  step.because =
      fmt::format("{} should act {}, but the reading went from {} to {}, the other way.",
                  change_words(*changed, more > 0.0), expected > 0.0 ? "stiffer" : "weaker",
                  rules::lateral_words(was), rules::lateral_words(is));
  return step;
}

}  // namespace nocktrail::tune
