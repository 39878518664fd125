// What a bare shaft that trailed too far forbids from then on.
#include <fmt/format.h>

#include <cmath>

#include "advice.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kRounding_m = 1e-4;
constexpr double kRounding_kg = 0.5 * units::kKilogramsPerGrain;

// The set-up's shot that trailed furthest without feathers, beyond what may be shot again. One is
// enough: it is not weighed against the others.
std::optional<Measured> furthest_bare(const SetupView& setup) {
  if (setup.facts.arrow.fletching == Fletching::fletched) {
    return std::nullopt;
  }
  std::optional<Measured> worst;
  for (const JudgedShot& shot : setup.judgement.shots) {
    if (!shot.dropped && std::abs(shot.lat_deg.value) > rules::kStopSideways_deg &&
        (!worst || std::abs(shot.lat_deg.value) > std::abs(worst->value))) {
      worst = shot.lat_deg;
    }
  }
  return worst;
}

// Whether one value is clearly less than the other.
bool less(const std::optional<double>& a, const std::optional<double>& b, double by) {
  return a && b && *a < *b - by;
}

bool same_shaft(const SetupFacts& then, const SetupFacts& now) {
  const auto ei_then = value_of(Quantity::spine, then);
  const auto ei_now = value_of(Quantity::spine, now);
  const bool other_spine =
      ei_then && ei_now && std::abs(*ei_then - *ei_now) > 0.01 * std::abs(*ei_then);
  return then.arrow.name == now.arrow.name && !other_spine;
}

// Whether something has been done since that brings a shaft which trailed to this side nearer to
// straight. With the hand unknown any of it counts.
bool mended(const SetupFacts& then, const SetupFacts& now, double trailed_deg) {
  const bool stiffer = less(now.arrow.shaft_length_m, then.arrow.shaft_length_m, kRounding_m) ||
                       less(now.arrow.arrow_length_m, then.arrow.arrow_length_m, kRounding_m) ||
                       less(now.arrow.tip_mass_kg, then.arrow.tip_mass_kg, kRounding_kg) ||
                       less(then.bow.plate_offset_m, now.bow.plate_offset_m, kRounding_m) ||
                       less(now.bow.draw_weight_n, then.bow.draw_weight_n, 1.0);
  const bool weaker = less(then.arrow.tip_mass_kg, now.arrow.tip_mass_kg, kRounding_kg) ||
                      less(now.bow.plate_offset_m, then.bow.plate_offset_m, kRounding_m) ||
                      less(then.bow.draw_weight_n, now.bow.draw_weight_n, 1.0);
  if (now.hand == Hand::unknown) {
    return stiffer || weaker;
  }
  return stiff_sign(now.hand) * trailed_deg < 0.0 ? stiffer && !weaker : weaker && !stiffer;
}

struct Trailed {
  const SetupView* setup;
  Measured lat_deg;
};

// The latest set-up in which this shaft trailed too far bare, with nothing done about it since.
std::optional<Trailed> still_too_far(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  for (std::size_t i = situation.latest + 1; i-- > 0;) {
    const SetupView& setup = situation.setups[i];
    const auto furthest = furthest_bare(setup);
    if (furthest && same_shaft(setup.facts, now) && !mended(setup.facts, now, furthest->value)) {
      return Trailed{&setup, *furthest};
    }
  }
  return std::nullopt;
}

}  // namespace

std::optional<Step> mismatch_step(const Situation& situation) {
  const SetupView& now = situation.now();
  if (now.facts.arrow.fletching == Fletching::fletched) {
    return std::nullopt;
  }
  const auto trailed = still_too_far(situation);
  if (!trailed) {
    return std::nullopt;
  }
  // Shot again with something else changed, and inside: that is what it does now.
  const bool inside_now = now.judgement.counted >= rules::kFewestShots && !furthest_bare(now) &&
                          !same_setup(trailed->setup->facts, now.facts);
  if (inside_now) {
    return std::nullopt;
  }
  rules::Evidence evidence;
  evidence.shots = 1;
  evidence.lat_deg = trailed->lat_deg;
  const auto asked = rules::stop_for_mismatch(evidence);
  Step step;
  step.kind = asked->step;
  step.words = asked->words;
  step.because = asked->because;
  if (now.facts.hand != Hand::unknown) {
    const bool weak = stiff_sign(now.facts.hand) * trailed->lat_deg.value < 0.0;
    step.words +=
        fmt::format(" It acts {}: {} ones.", weak ? "weak" : "stiff", weak ? "stiffer" : "weaker");
  }
  if (trailed->setup != &now) {
    step.because += fmt::format(" That was in {}, and nothing done since brings it back.",
                                rules::printable(trailed->setup->judgement.name));
  }
  return step;
}

std::optional<Step> instead_of_bare(const Situation& situation, const Measured& fletched_deg) {
  const SetupFacts& facts = situation.now().facts;
  const double stiffer_deg = stiff_sign(facts.hand) * fletched_deg.value;
  const auto trailed = still_too_far(situation);
  // Bare it may act weaker by as much as feathers hide.
  const bool too_weak = stiffer_deg < -(rules::kStopSideways_deg - kFletchedStiffer_deg);
  const bool too_stiff = stiffer_deg > rules::kStopSideways_deg;
  if (!trailed && !too_weak && !too_stiff) {
    return std::nullopt;
  }
  const bool weak = trailed ? stiff_sign(facts.hand) * trailed->lat_deg.value < 0.0 : too_weak;
  Step step;
  step.kind = weak ? StepKind::stiffer_shaft : StepKind::weaker_shaft;
  step.words = fmt::format(
      "Do not shoot this shaft bare. Try fletched arrows on shafts {} spine group{} {}, full "
      "length, and go on from there.",
      trailed ? "two" : "one", trailed ? "s" : "", weak ? "stiffer" : "weaker");
  step.because =
      trailed
          ? fmt::format(
                "Bare it trailed too far to be shot bare again (common practice: "
                "beyond {:g} deg it may break): {}.",
                rules::kStopSideways_deg, rules::lateral_words(trailed->lat_deg))
          : fmt::format(
                "Fletched it reads {}; feathers hide up to {:g} deg of a weak shaft, "
                "and beyond {:g} deg a bare one may break (common practice).",
                rules::lateral_words(fletched_deg), kFletchedStiffer_deg, rules::kStopSideways_deg);
  return step;
}

}  // namespace nocktrail::tune
