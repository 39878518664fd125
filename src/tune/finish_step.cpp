// The end of a tune: the bare shaft that tells of spine, the finished arrow, done.
#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <utility>

#include "advice.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

constexpr int kLookedFor = 12;  // shots after which a touch that was not found stays a caution

Step shoot_bare(const std::string& because) {
  Step step;
  step.kind = StepKind::shoot_bare;
  step.words = "Shoot the same shaft bare: four shots to begin with, from close by.";
  step.because = because;
  return step;
}

Step done(std::string because) {
  Step step;
  step.kind = StepKind::done;
  step.words =
      "Done: leave it as it is, write it down and build the rest of the set to match. What is "
      "left is fine-tuning by brace height, a few turns of the string at a time.";
  step.because = std::move(because);
  return step;
}

// From so many shots on a bare mean that more of them would hardly move is taken as it is.
constexpr int kBareSettled = 24;
// That a bare mean lies inside the dead band, by its own interval alone: the bare set-up's own turn
// asks for more, by all that is known of the bow.
constexpr double kBareChance = 0.75;

// That a finished arrow flies as its bare shaft has it: below this more shots are asked for. A
// choice; an arrow that reads 0.6 ± 0.6 high is none to hold a set up for.
constexpr double kLeastFinishedChance = 0.25;

double chance_between(const Measured& mean_deg, double low_deg, double high_deg) {
  const boost::math::normal about(mean_deg.value, std::max(mean_deg.u95 / kSigmasPerU95, 1e-6));
  return boost::math::cdf(about, high_deg) - boost::math::cdf(about, low_deg);
}

double chance_inside(const Measured& mean_deg, double band_deg) {
  return chance_between(mean_deg, -band_deg, band_deg);
}

Step look_at_fletching(const SetupView& fletched, std::string because) {
  Step step;
  step.kind = StepKind::check_contact;
  step.words =
      "Change nothing on the shaft. Look for the fletching touching shelf, plate or hand: powder "
      "or lipstick shows it; turn the nock so that no vane meets the bow, try a lower or shorter "
      "fletching or another shelf material. Then shoot this set-up again, fletched.";
  if (fletched.judgement.counted >= kLookedFor) {
    step.words +=
        " As long as feathered and bare shafts disagree so, neither is built upon: if nothing is "
        "found, leave out the shots that no longer hold, and begin a set-up with another "
        "fletching.";
  }
  step.because = std::move(because);
  return step;
}

// A finished arrow that most likely does not fly as the bare shaft has it, though its interval
// reaches back: more shots tell whether it does, and no set is built before. What is still open
// after many is a caution.
std::optional<Step> more_fletched(const Situation& situation, const SetupView& fletched,
                                  bool height_accepted, std::vector<std::string>& cautions) {
  const double band = situation.options.dead_band_deg;
  const auto lateral = pooled(situation.setups, fletched.facts, false);
  const auto vertical = pooled(situation.setups, fletched.facts, true);
  const Measured stiffer{stiff_sign(fletched.facts.hand) * lateral->offset_deg.value,
                         lateral->offset_deg.u95};
  const bool sideways =
      chance_between(stiffer, -band, rules::kFeathersHide_deg) < kLeastFinishedChance;
  const bool up_and_down =
      !height_accepted && chance_inside(vertical->offset_deg, band) < kLeastFinishedChance;
  if (!sideways && !up_and_down) {
    return std::nullopt;
  }
  // What is beyond doubt is a touch, not a want of shots.
  const auto beyond = [](const Measured& offset_deg, double low, double high) {
    return offset_deg.value + offset_deg.u95 < low || offset_deg.value - offset_deg.u95 > high;
  };
  if ((sideways && beyond(stiffer, -band, rules::kFeathersHide_deg)) ||
      (up_and_down && beyond(vertical->offset_deg, -band, band))) {
    return std::nullopt;
  }
  const std::string seen =
      fmt::format("fletched it reads {}, {}", rules::lateral_words(lateral->offset_deg),
                  rules::vertical_words(vertical->offset_deg));
  if (lateral->shots >= kLookedFor) {
    cautions.push_back(fmt::format(
        "The finished arrow is not shown to fly as the bare shaft does: {}. Look at it again when "
        "the set is shot.",
        seen));
    return std::nullopt;
  }
  Step step;
  if (&fletched == &situation.now()) {
    step.kind = StepKind::film_more;
    step.amount = rules::kUsualShots;
  } else {
    step.kind = StepKind::shoot_fletched;
  }
  step.words = fmt::format("Build no set yet: film {} more shots of the finished arrow, fletched.",
                           rules::kUsualShots);
  step.because = fmt::format(
      "Bare it leaves straight, but {}: whether it is straight and level as "
      "it will be shot is not known yet.",
      seen);
  return step;
}

// Limits that the finished set-up passes by its own facts, or a shaft that ends so near the rest
// that the sheet would call every one too short: no set is built to it.
std::optional<Step> not_to_be_built(const SetupView& finished) {
  if (auto step = limit_step(finished.facts)) {
    step->because = fmt::format("That is {}, to which the set would be built.",
                                rules::printable(finished.judgement.name));
    return step;
  }
  const auto shortest_m = arrow::shortest_shaft_m(limit_facts(finished.facts));
  const auto& shaft_m = finished.facts.arrow.shaft_length_m;
  constexpr double kSame_m = 1e-4;
  if (!shortest_m || !shaft_m || *shaft_m >= *shortest_m - kSame_m) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::stiffer_shaft;
  step.words = fmt::format(
      "Build no set to this shaft: it is {} long, and half an inch past the rest at full draw "
      "asks for {}. A draw a little longer pulls it behind the rest. Try shafts one spine group "
      "stiffer, left at least that long.",
      inches_and_mm(*shaft_m), inches_and_mm(*shortest_m));
  step.because = "It leaves straight, but is too short for its draw (common practice).";
  return step;
}

// What stands against building a set to `finished`, on the word of the bare shaft where one was
// shot.
std::optional<Step> against_building(const Situation& situation, const SetupView& finished,
                                     const SetupView* bare) {
  if (auto step = stop_standing_in(finished)) {
    return step;
  }
  if (bare != nullptr) {
    if (auto step = stop_standing_bare(situation, *bare)) {
      return step;
    }
  }
  return not_to_be_built(finished);
}

}  // namespace

std::optional<Step> ask_before_building(const Situation& situation, const std::string& because) {
  const SetupFacts& facts = situation.now().facts;
  std::vector<std::string> unknown = arrow::unknown_for_shorter(limit_facts(facts));
  if ((facts.bow.brace_min_m || facts.bow.brace_max_m) && !facts.bow.brace_height_m) {
    unknown.emplace_back("the brace height");
  }
  if (unknown.empty()) {
    return std::nullopt;
  }
  return ask_for(unknown, "the rest of the set is built", because);
}

const SetupView& finished(const Situation& situation) {
  if (situation.now().facts.arrow.fletching == Fletching::bare) {
    if (const SetupView* fletched = with_fletching(situation, Fletching::fletched)) {
      return *fletched;
    }
  }
  return situation.now();
}

std::optional<Step> fletching_step(const Situation& situation, const SetupView& bare,
                                   const SetupView& fletched, std::vector<std::string>& cautions) {
  const double band = situation.options.dead_band_deg;
  const Measured bare_deg = pooled(situation.setups, bare.facts, false)->offset_deg;
  const auto lateral = pooled(situation.setups, fletched.facts, false);
  const Measured& seen_deg = lateral->offset_deg;
  const std::string both =
      fmt::format("Bare it leaves straight ({}), but fletched it reads {}.",
                  rules::lateral_words(bare_deg), rules::lateral_words(seen_deg));
  const double stiffer_deg = stiff_sign(fletched.facts.hand) * seen_deg.value;
  const bool accepted =
      !fletched.facts.accepted_nock_height.empty() || !bare.facts.accepted_nock_height.empty();
  if (auto step = more_fletched(situation, fletched, accepted, cautions)) {
    return step;
  }
  // What little is left after it was looked for stays a caution.
  constexpr double kLittle_deg = 1.0;
  const double weaker = -stiffer_deg - seen_deg.u95 - band;
  const double stiffer = stiffer_deg - seen_deg.u95 - rules::kFeathersHide_deg;
  const double beyond = std::max(weaker, stiffer);
  if (beyond > 0.0 && (lateral->shots < kLookedFor || beyond > kLittle_deg)) {
    return look_at_fletching(fletched, both);
  }
  if (beyond > 0.0) {
    cautions.push_back(fmt::format(
        "Fletched it acts {} than feathers make it ({}), and no contact was found: look for it "
        "again when the set is shot.",
        weaker > 0.0 ? "weaker" : "stiffer", rules::lateral_words(seen_deg)));
  }
  const Measured high_deg = pooled(situation.setups, fletched.facts, true)->offset_deg;
  const rules::Side side = rules::side_of(high_deg, band);
  if (!accepted && (side == rules::Side::positive || side == rules::Side::negative)) {
    const Measured bare_high_deg = pooled(situation.setups, bare.facts, true)->offset_deg;
    Step step = look_at_fletching(fletched, fmt::format("Bare it reads {}, but fletched {}.",
                                                        rules::vertical_words(bare_high_deg),
                                                        rules::vertical_words(high_deg)));
    step.words +=
        " Where no cause is found and the arrows fly well, accept it among this set-up's "
        "facts, with the reason (accept_nock_height in its setup.toml).";
    return step;
  }
  return std::nullopt;
}

Step finish_step(const Situation& situation, const std::string& reading) {
  std::string level;
  if (auto step = level_step(situation, situation.now(), level)) {
    return *step;
  }
  const Fletching fletching = situation.now().facts.arrow.fletching;
  const SetupView& last = finished(situation);
  if (auto step = against_building(situation, last,
                                   fletching == Fletching::bare ? &situation.now() : nullptr)) {
    return *step;
  }
  std::vector<std::string> cautions;
  if (fletching == Fletching::bare && &last == &situation.now()) {
    Step step;
    step.kind = StepKind::shoot_fletched;
    step.words =
        "Fletch the shaft as the set will be and shoot it: four shots to begin with. It may read "
        "stiffer than the bare one, for it weighs more at the nock and straightens; if it reads "
        "weaker, "
        "the fletching touches the bow.";
    step.because = "Bare it leaves straight: " + reading + "." + level;
    return step;
  }
  if (fletching == Fletching::bare) {
    if (auto step = fletching_step(situation, situation.now(), last, cautions)) {
      return *step;
    }
  }
  const std::string because = "It leaves straight: " + reading + "." + level;
  if (auto step = ask_before_building(situation, because)) {
    return *step;
  }
  Step step = done(because);
  step.cautions = cautions;
  if (fletching == Fletching::fletched) {
    step.because +=
        " Bare, the shaft would be lighter than the bow may shoot, so the fletched arrow alone was "
        "judged; it hides a shaft that is too weak.";
  }
  return step;
}

std::optional<Step> fletched_step(const Situation& situation, const Limits& limits) {
  const double band = situation.options.dead_band_deg;
  const SetupView* bare = with_fletching(situation, Fletching::bare);
  const auto here = pooled(situation.setups, situation.now().facts, false);
  const std::string seen = rules::lateral_words(here->offset_deg);
  if (auto step = level_before_bare(situation)) {
    return step;
  }
  if (bare == nullptr) {
    if (!limits.unknown_for_lighter.empty()) {
      return ask_for(limits.unknown_for_lighter, "the fletching comes off and the arrow is lighter",
                     fmt::format("Spine is judged by the bare shaft; fletched it reads {}.", seen));
    }
    if (limits.lighter_allowed(0.0)) {
      return shoot_bare(fmt::format(
          "Fletching hides what the spine does, and a bare shaft tells more; fletched it reads {}.",
          seen));
    }
    return std::nullopt;
  }
  if (auto step = stop_standing_in(*bare)) {
    return step;
  }
  const auto bare_here = pooled(situation.setups, bare->facts, false);
  const Measured bare_deg = bare_here->offset_deg;
  if (std::abs(bare_deg.value) > band) {
    return shoot_bare(
        fmt::format("Spine is judged by the bare shaft, which was not straight yet: {}.",
                    rules::lateral_words(bare_deg)));
  }
  if ((bare_here->shots < kBareSettled || disagree(*bare_here)) &&
      chance_inside(bare_deg, band) < kBareChance) {
    return shoot_bare(
        fmt::format("Spine is judged by the bare shaft, and that it is straight is not known well "
                    "enough yet: {}.",
                    rules::lateral_words(bare_deg)));
  }
  if (auto step = against_building(situation, situation.now(), bare)) {
    return step;
  }
  std::string level;
  if (auto step = level_step(situation, *bare, level)) {
    // More fletched shots tell nothing of the bare mean.
    return step->kind == StepKind::film_more ? shoot_bare(step->because) : *step;
  }
  std::vector<std::string> cautions;
  if (auto step = fletching_step(situation, *bare, situation.now(), cautions)) {
    return *step;
  }
  const std::string because = fmt::format("Bare it leaves straight: {}; fletched it reads {}.{}",
                                          rules::lateral_words(bare_deg), seen, level);
  if (auto step = ask_before_building(situation, because)) {
    return step;
  }
  Step step = done(because);
  step.cautions = cautions;
  return step;
}

std::optional<Step> not_bare_step(const Situation& situation) {
  if (situation.now().facts.arrow.fletching != Fletching::fletched || !counted(situation.now()) ||
      situation.now().facts.hand == Hand::unknown) {
    return std::nullopt;
  }
  const SetupView* bare = with_fletching(situation, Fletching::bare);
  const bool straight_bare =
      bare != nullptr && std::abs(pooled(situation.setups, bare->facts, false)->offset_deg.value) <=
                             situation.options.dead_band_deg;
  return straight_bare
             ? std::nullopt
             : instead_of_bare(situation,
                               pooled(situation.setups, situation.now().facts, false)->offset_deg);
}

}  // namespace nocktrail::tune
