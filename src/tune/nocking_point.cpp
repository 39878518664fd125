// Start high, come down a sixteenth at a time until nock high just disappears. Nock high on the
// way down may be the arrow bouncing off the shelf, so the direction of the last change decides.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/statistics.hpp"
#include "side_shots.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kKnownHigh_m = 0.4375 * kInch;  // from here up, nock high means too high
constexpr double kStartHigh_m = 0.625 * kInch;
constexpr double kSame_m = 0.1e-3;
// Beyond these the nocking point is not where the fault lies: archers start at half to three
// quarters of an inch above square, and below square the string would press the nock onto the shelf
// (common practice, no source).
constexpr double kHighest_m = 0.75 * kInch;
constexpr double kLowest_m = 0.0;
constexpr int kLookedFor = 12;  // shots after which a cause that was not found stays a caution
constexpr double kNeighbour_steps = 1.5;  // how far the next explored height may lie
constexpr double kSameLength_m = kInch / 16.0;

struct Height {
  double at_m = 0.0;
  Measured nock_high_deg;
};

bool same_but_nocking_point(const SetupFacts& a, const SetupFacts& b) {
  const auto length = [](const SetupFacts& facts) {
    return value_of(Quantity::shaft_length, facts).value_or(0.0);
  };
  return rest_of(a) == rest_of(b) && std::abs(length(a) - length(b)) < kSameLength_m &&
         a.arrow.tip_mass_kg == b.arrow.tip_mass_kg;
}

// The heights tried with this arrow, ascending.
std::vector<Height> explored(const Situation& situation, const SetupFacts& with) {
  std::vector<Height> heights;
  for (const SetupView& setup : situation.setups) {
    const auto at = setup.facts.bow.nocking_point_m;
    if (!counted(setup) || !at || !same_but_nocking_point(setup.facts, with) ||
        std::any_of(heights.begin(), heights.end(),
                    [&](const Height& known) { return std::abs(known.at_m - *at) < kSame_m; })) {
      continue;
    }
    heights.push_back({*at, pooled(situation.setups, setup.facts, true)->offset_deg});
  }
  std::sort(heights.begin(), heights.end(),
            [](const Height& a, const Height& b) { return a.at_m < b.at_m; });
  return heights;
}

// +1 when `other` is nock higher than `here` beyond one standard uncertainty of the difference,
// -1 when lower, 0 in between.
int compared(const Measured& other, const Measured& here) {
  const double difference = other.value - here.value;
  const double u = std::hypot(other.u95, here.u95) / kSigmasPerU95;
  return difference > u ? 1 : (difference < -u ? -1 : 0);
}

// The height may not go further; another cause is looked for, once.
std::optional<Step> at_the_bound(const Situation& situation, const std::string& seen,
                                 bool highest) {
  const auto here = pooled(situation.setups, situation.now().facts, true);
  if (here->shots >= kLookedFor) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::look_for_cause;
  step.words = fmt::format(
      "Leave the nocking point where it is and look for another cause: {}. Then shoot this set-up "
      "again.",
      highest
          ? "a tight nock, fingers that press down on the arrow, a lower limb drawn harder than "
            "the upper (tiller), a nock that strikes the shelf"
          : "the arrow bouncing off a hard shelf (try a softer cover), fingers that lift the "
            "arrow, a tight nock, the fletching touching");
  step.because = fmt::format(
      "{} with the nocking point {} above square; {} than {} is not where a nocking point goes "
      "(common practice).",
      seen, inches_and_mm(*situation.now().facts.bow.nocking_point_m), highest ? "higher" : "lower",
      inches_and_mm(highest ? kHighest_m : kLowest_m));
  return step;
}

std::optional<Step> lower(const Situation& situation, const std::string& seen,
                          std::string because) {
  const double after_m =
      *situation.now().facts.bow.nocking_point_m - situation.options.nocking_point_step_m;
  if (after_m < kLowest_m - kSame_m) {
    return at_the_bound(situation, seen, false);
  }
  Step step;
  step.kind = StepKind::lower_nocking_point;
  step.amount = situation.options.nocking_point_step_m;
  step.words = fmt::format(
      "Move the nocking point down {} and shoot again: nock high must shrink. If it grows or comes "
      "back on the way down, the arrow is bouncing off the shelf: go back up.",
      inches_and_mm(*step.amount));
  step.because = std::move(because);
  return step;
}

std::optional<Step> raise(const Situation& situation, const std::string& seen,
                          std::string because) {
  const double after_m =
      *situation.now().facts.bow.nocking_point_m + situation.options.nocking_point_step_m;
  if (after_m > kHighest_m + kSame_m) {
    return at_the_bound(situation, seen, true);
  }
  Step step;
  step.kind = StepKind::raise_nocking_point;
  step.amount = situation.options.nocking_point_step_m;
  step.words =
      fmt::format("Move the nocking point up {} and shoot again.", inches_and_mm(*step.amount));
  step.because = std::move(because);
  return step;
}

Step start_high(const std::optional<double>& present_m, const std::string& seen) {
  Step step;
  step.kind = StepKind::start_high;
  if (present_m && *present_m < kStartHigh_m) {
    step.amount = kStartHigh_m - *present_m;
  }
  step.words = fmt::format(
      "Set the nocking point high, {} above square, shoot, and come down from there {} at a time.",
      inches_and_mm(kStartHigh_m), inches_and_mm(kInch / 16.0));
  step.because = fmt::format(
      "{} may come from a nocking point too high or, by a bounce off the shelf, too low, and "
      "nothing shot before at a known height tells which.",
      seen);
  return step;
}

// A bare reading that is off, but not clearly, of a shaft whose spine clearly is.
bool off_beside_a_wrong_spine(const SetupView& setup, double vertical_deg, double band) {
  const bool spine_off =
      setup.judgement.spine == SpineVerdict::weak || setup.judgement.spine == SpineVerdict::stiff;
  return setup.facts.arrow.fletching == Fletching::bare && spine_off &&
         setup.judgement.nocking_point == NockingPointVerdict::unclear &&
         std::abs(vertical_deg) > band;
}

// With that arrow the heights a step below and a step above were shot and read no better.
bool rests_between(const Situation& situation, const SetupFacts& with, const Measured& here) {
  const double at_m = with.bow.nocking_point_m.value_or(0.0);
  const double reach_m = kNeighbour_steps * situation.options.nocking_point_step_m;
  bool below = false;
  bool above = false;
  for (const Height& height : explored(situation, with)) {
    const double off_m = height.at_m - at_m;
    if (std::abs(off_m) > kSame_m && std::abs(off_m) < reach_m &&
        std::abs(height.nock_high_deg.value) >= std::abs(here.value)) {
      (off_m < 0.0 ? below : above) = true;
    }
  }
  return with.bow.nocking_point_m && below && above;
}

// The nocking point stayed at this height while the arrow was changed, so it had been found as good
// as it gets: what it read then. Only a clear sign opens the question anew.
std::optional<Measured> settled_before(const Situation& situation) {
  const auto now = situation.now().facts.bow.nocking_point_m;
  for (std::size_t i = situation.latest; i-- > 0;) {
    const SetupView& setup = situation.setups[i];
    const auto at = setup.facts.bow.nocking_point_m;
    // Bare shafts tell more than fletched ones: what those settled does not bind them.
    if (at.has_value() != now.has_value() || (at && std::abs(*at - *now) > kSame_m) ||
        rest_of(setup.facts) != rest_of(situation.now().facts)) {
      break;
    }
    if (counted(setup) && !same_but_nocking_point(setup.facts, situation.now().facts)) {
      const Measured then = pooled(situation.setups, setup.facts, true)->offset_deg;
      // Put off until the spine is near (level_when_fletched), not settled.
      if (!off_beside_a_wrong_spine(setup, then.value, situation.options.dead_band_deg) ||
          rests_between(situation, setup.facts, then)) {
        return then;
      }
    }
  }
  return std::nullopt;
}

// Whether a wish to move the nocking point stands against what it read when it was settled.
bool reopened(const Measured& here, const Measured& settled, double band) {
  const double u = here.u95 / kSigmasPerU95;
  if (std::abs(here.value) < band + 0.5 * u) {
    return false;
  }
  const double worse = std::abs(here.value) - std::max(std::abs(settled.value), band);
  return worse > (std::abs(settled.value) <= band
                      ? 0.5 * u
                      : 1.645 * std::hypot(here.u95, settled.u95) / kSigmasPerU95);
}

// The same bow and nocking point were level with fletched arrows. A bare reading that is not clear
// does not send the archer back to a high start while the spine is clearly off: history tells where
// the nocking point belongs, and a badly matched shaft tells little of it. Once the spine comes
// near, bare shafts have the word again.
bool level_when_fletched(const Situation& situation, const Measured& here_now) {
  const SetupView& now = situation.now();
  if (!off_beside_a_wrong_spine(now, here_now.value, situation.options.dead_band_deg)) {
    return false;
  }
  for (std::size_t i = situation.latest; i-- > 0;) {
    SetupFacts then = situation.setups[i].facts;
    const auto at = then.bow.nocking_point_m;
    const auto here = now.facts.bow.nocking_point_m;
    const bool fletched = then.arrow.fletching == Fletching::fletched;
    then.arrow.fletching = Fletching::bare;
    if (!at || !here || std::abs(*at - *here) > kSame_m || rest_of(then) != rest_of(now.facts)) {
      return false;
    }
    if (fletched && counted(situation.setups[i])) {
      return std::abs(
                 pooled(situation.setups, situation.setups[i].facts, true)->offset_deg.value) <=
             situation.options.dead_band_deg;
    }
  }
  return false;
}

// Three or four steps between two heights that read the same but for less than what one step does:
// it is not the nocking point. `steps` from the lower to the higher.
bool answers_nothing(double steps, const Measured& higher, const Measured& lower) {
  constexpr double kTakenOff_deg = 0.4;
  return steps > 2.5 && steps < 4.5 && higher.value - lower.value < kTakenOff_deg;
}

// Nothing came of the three or four steps between here and a height above.
bool unmoved(const std::vector<Height>& heights, double now_m, const Measured& here,
             double step_m) {
  return std::any_of(heights.begin(), heights.end(), [&](const Height& height) {
    return answers_nothing((height.at_m - now_m) / step_m, height.nock_high_deg, here);
  });
}

// Raised, and lower than before; or three or four steps up that have not taken off what one does.
std::optional<Step> raising_does_not_help(const std::vector<Height>& heights, double now_m,
                                          const Measured& here, double step_m,
                                          const std::string& seen) {
  const Height* back = nullptr;
  for (const Height& height : heights) {
    const double steps = (now_m - height.at_m) / step_m;
    const bool worse = steps > 0.5 && steps < 4.5 && compared(here, height.nock_high_deg) < 0;
    if ((worse || answers_nothing(steps, here, height.nock_high_deg)) && back == nullptr) {
      back = &height;
    }
  }
  if (back == nullptr) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::look_for_cause;
  step.words = fmt::format(
      "Put the nocking point back to {} above square and look for another cause: a tight nock, "
      "fingers that press down on the arrow, a lower limb drawn harder than the upper (tiller), a "
      "nock that strikes the shelf. Then shoot that again.",
      inches_and_mm(back->at_m));
  step.because = fmt::format("{}, and {} before it was raised: raising it is not the cure.", seen,
                             rules::vertical_words(back->nock_high_deg));
  return step;
}

// What lies above was shot already and did not help: it is not raised once more.
bool raised_in_vain(const std::vector<Height>& heights, double now_m, const Measured& here,
                    double step_m) {
  return unmoved(heights, now_m, here, step_m) ||
         std::any_of(heights.begin(), heights.end(), [&](const Height& height) {
           const double steps = (height.at_m - now_m) / step_m;
           return steps > 0.5 && steps < 1.5 && compared(height.nock_high_deg, here) < 0;
         });
}

// Whether this bow was brought down from a known high start with arrows of the same fletching, be
// it with another tip or length: then a bounce would have shown on the way.
bool came_down_before(const Situation& situation) {
  const SetupFacts& now = situation.now().facts;
  return std::any_of(situation.setups.begin(),
                     situation.setups.begin() + static_cast<std::ptrdiff_t>(situation.latest),
                     [&](const SetupView& setup) {
                       const auto at = setup.facts.bow.nocking_point_m;
                       return counted(setup) && at && *at > kKnownHigh_m - kSame_m &&
                              rest_of(setup.facts) == rest_of(now);
                     });
}

// The heights tried within a step or so of the present one.
struct Neighbours {
  const Height* below = nullptr;
  const Height* above = nullptr;
};

Neighbours neighbours(const std::vector<Height>& heights, double now_m, double reach_m) {
  Neighbours found;
  for (const Height& height : heights) {
    const double off = height.at_m - now_m;
    if (off < -kSame_m && off > -reach_m) {
      found.below = &height;
    }
    if (off > kSame_m && off < reach_m && found.above == nullptr) {
      found.above = &height;
    }
  }
  return found;
}

Step film_from_side_again(const std::string& seen) {
  Step step;
  step.kind = StepKind::film_more;
  step.amount = rules::kUsualShots;
  step.words = fmt::format(
      "Leave the nocking point and film {} more shots of this set-up from the side, the phone "
      "level and at the arrow's height.",
      rules::kUsualShots);
  step.because = fmt::format(
      "Up and down, the shots from the side and those from behind do not agree ({} together): "
      "one of the two is not to be trusted.",
      seen);
  return step;
}

Step film_before_moving(const Situation& situation, const std::string& seen) {
  Step step;
  step.kind = StepKind::film_more;
  step.amount = rules::kUsualShots;
  step.words =
      fmt::format("Change nothing and film {} more shots of this set-up{}.", rules::kUsualShots,
                  situation.now().judgement.side_shots.empty()
                      ? ", from the side if you can: they tell up and down best"
                      : "");
  step.because = fmt::format("{} does not tell yet which way the nocking point is off.", seen);
  return step;
}

// Of a nock that is seen low.
std::optional<Step> from_low(const Situation& situation, const std::vector<Height>& heights,
                             const Neighbours& near, double now_m, const Measured& here,
                             const std::string& seen) {
  if (near.above != nullptr && std::abs(near.above->nock_high_deg.value) >= std::abs(here.value)) {
    return std::nullopt;  // between two heights, and this is the better
  }
  const double step_m = situation.options.nocking_point_step_m;
  if (raised_in_vain(heights, now_m, here, step_m)) {
    return std::nullopt;
  }
  if (auto step = raising_does_not_help(heights, now_m, here, step_m, seen)) {
    return step;
  }
  return raise(situation, seen, fmt::format("{}: the nocking point is too low.", seen));
}

// Of a nock that is seen high: lower it, unless it bounces off the shelf. `settled`: an earlier
// set-up had the nock's height right.
std::optional<Step> from_high(const Situation& situation, const std::vector<Height>& heights,
                              const Neighbours& near, double now_m, const Measured& here,
                              const std::string& seen, bool settled) {
  if (near.below != nullptr && compared(near.below->nock_high_deg, here) > 0) {
    // Lower was higher still: that was the bounce.
    if (near.above == nullptr || compared(near.above->nock_high_deg, here) < 0) {
      return raise(situation, seen,
                   fmt::format("{}, and lower down it was {}: the arrow bounces off the shelf.",
                               seen, rules::vertical_words(near.below->nock_high_deg)));
    }
    return std::nullopt;
  }
  if (near.below != nullptr && std::abs(near.below->nock_high_deg.value) >= std::abs(here.value)) {
    return std::nullopt;
  }
  if (near.above != nullptr && near.below == nullptr &&
      compared(near.above->nock_high_deg, here) < 0) {
    return raise(situation, seen,
                 fmt::format("{} after lowering, {} before: nock high that grows on the way down "
                             "is a bounce off the shelf.",
                             seen, rules::vertical_words(near.above->nock_high_deg)));
  }
  if (near.above == nullptr && near.below == nullptr && now_m < kKnownHigh_m && !settled) {
    // Coming down once more would find what it found.
    return came_down_before(situation) ? std::nullopt : std::optional(start_high(now_m, seen));
  }
  if (unmoved(heights, now_m, here, situation.options.nocking_point_step_m)) {
    return std::nullopt;
  }
  return lower(situation, seen,
               near.above != nullptr
                   ? fmt::format("{}, {} one step higher up: {}.", seen,
                                 rules::vertical_words(near.above->nock_high_deg),
                                 compared(near.above->nock_high_deg, here) > 0
                                     ? "coming down helps, go on"
                                     : "one step has not told yet, go on")
                   : fmt::format("{} with the nocking point {} above square: a known high start.",
                                 seen, inches_and_mm(now_m)));
}

}  // namespace

std::optional<Step> nocking_point_step(const Situation& situation) {
  // The bare shaft has had its word at this very set-up.
  if (situation.now().facts.arrow.fletching == Fletching::fletched &&
      with_fletching(situation, Fletching::bare) != nullptr) {
    return std::nullopt;
  }
  const double band = situation.options.dead_band_deg;
  const Measured here = pooled(situation.setups, situation.now().facts, true)->offset_deg;
  const std::string seen = rules::vertical_words(here);
  const std::optional<Measured> settled = settled_before(situation);
  const bool high = here.value > band;
  const bool low = here.value < -band;
  if ((!high && !low) || !situation.now().facts.accepted_nock_height.empty() ||
      (settled && !reopened(here, *settled, band)) || level_when_fletched(situation, here)) {
    return std::nullopt;
  }
  if (situation.now().views_disagree && counted_from_side(situation.now().judgement) < kLookedFor) {
    return film_from_side_again(seen);
  }
  // Hardly more likely on that side than on the other.
  constexpr double kLikely = 0.6;  // of the interval: nine in ten
  if (std::abs(here.value) < kLikely * here.u95) {
    return pooled(situation.setups, situation.now().facts, true)->shots >= kLookedFor
               ? std::nullopt
               : std::optional(film_before_moving(situation, seen));
  }
  const auto now = situation.now().facts.bow.nocking_point_m;
  if (!now) {
    return high
               ? start_high(now, seen)
               : ask_for({"how high the nocking point stands above square"}, "it is moved",
                         fmt::format("{}: the nocking point is too low, unless it is high already.",
                                     seen));
  }
  const std::vector<Height> heights = explored(situation, situation.now().facts);
  const Neighbours near =
      neighbours(heights, *now, kNeighbour_steps * situation.options.nocking_point_step_m);
  return low ? from_low(situation, heights, near, *now, here, seen)
             : from_high(situation, heights, near, *now, here, seen, settled.has_value());
}

}  // namespace nocktrail::tune
