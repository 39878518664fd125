// The end of a tune: the bare shaft that tells of spine, the finished arrow, done.
#include <fmt/format.h>

#include <cmath>
#include <utility>

#include "advice.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/gate.hpp"

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

Step finish_step(const Situation& situation, const std::string& reading) {
  std::string level;
  if (auto step = level_step(situation, situation.now(), level)) {
    return *step;
  }
  const Fletching fletching = situation.now().facts.arrow.fletching;
  if (fletching == Fletching::bare && with_fletching(situation, Fletching::fletched) == nullptr) {
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
  const std::string because = "It leaves straight: " + reading + "." + level;
  if (auto step = ask_before_building(situation, because)) {
    return *step;
  }
  Step step = done(because);
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
  const bool shot_straight_bare =
      bare != nullptr &&
      std::abs(pooled(situation.setups, bare->facts, false)->offset_deg.value) <= band;
  if (!shot_straight_bare) {
    if (auto step = instead_of_bare(situation, here->offset_deg)) {
      return step;
    }
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
  const Measured bare_deg = pooled(situation.setups, bare->facts, false)->offset_deg;
  if (std::abs(bare_deg.value) > band) {
    return shoot_bare(
        fmt::format("Spine is judged by the bare shaft, which was not straight yet: {}.",
                    rules::lateral_words(bare_deg)));
  }
  const double stiffer_deg = stiff_sign(situation.now().facts.hand) * here->offset_deg.value;
  const bool weaker = stiffer_deg + here->offset_deg.u95 < -band;
  if ((weaker || stiffer_deg - here->offset_deg.u95 > kFletchedStiffer_deg) &&
      here->shots < kLookedFor) {
    Step step;
    step.kind = StepKind::check_contact;
    step.words =
        "Change nothing on the shaft. Look for the fletching touching shelf, plate or hand: powder "
        "or lipstick shows it; turn the nock so that no vane meets the bow, try a lower or shorter "
        "fletching or another shelf material. Then shoot this set-up again.";
    step.because = fmt::format("Bare it leaves straight ({}), but fletched it reads {}.",
                               rules::lateral_words(bare_deg), seen);
    return step;
  }
  std::string level;
  if (auto step = level_step(situation, *bare, level)) {
    return *step;
  }
  const std::string because = fmt::format("Bare it leaves straight: {}; fletched it reads {}.{}",
                                          rules::lateral_words(bare_deg), seen, level);
  if (auto step = ask_before_building(situation, because)) {
    return step;
  }
  return done(because);
}

}  // namespace nocktrail::tune
