// What is left up and down once sideways is straight: level, to be settled by more shots, not to be
// settled from behind, or a nock that stands off for another reason.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kMostAccepted_deg = 4.0;  // half of what stops a bare shaft; no source
constexpr int kMostInAll = 24;             // shots of one set-up for the sake of the nocking point
constexpr int kMostAtATime = 12;

Step look_for_cause(const Measured& here) {
  Step step;
  step.kind = StepKind::look_for_cause;
  step.words = fmt::format(
      "Look for what holds the nock {}: contact with the shelf (powder or lipstick shows it; try "
      "another shelf or rest material), an uneven pull of the fingers, a tight nock, fletching "
      "that "
      "touches. Then shoot this set-up again. Where no cause is found and the arrows fly well, "
      "accept it among this set-up's facts, with the reason (accept_nock_height in its "
      "setup.toml).",
      here.value > 0.0 ? "high" : "low");
  step.because = fmt::format(
      "Sideways it leaves straight, but with {} it is not done, and moving the nocking point has "
      "not taken it away.",
      rules::vertical_words(here));
  return step;
}

}  // namespace

std::optional<Step> level_step(const Situation& situation, const SetupView& of, std::string& note) {
  const SetupView& now = of;
  const auto pooled_here = pooled(situation.setups, now.facts, true);
  const Measured& here = pooled_here->offset_deg;
  const double band = situation.options.dead_band_deg;
  const std::string& accepted = now.facts.accepted_nock_height.empty()
                                    ? situation.now().facts.accepted_nock_height
                                    : now.facts.accepted_nock_height;
  if (!accepted.empty() && std::abs(here.value) > kMostAccepted_deg) {
    Step step = look_for_cause(here);
    step.words = step.words.substr(0, step.words.find(" Where no cause"));
    step.because = fmt::format(
        "It was accepted as it is ({}), but {} is more than is left standing (over {:g} deg): an "
        "arrow that leaves so strikes the bow.",
        rules::printable(accepted), rules::vertical_words(here), kMostAccepted_deg);
    return step;
  }
  if (!accepted.empty()) {
    note = fmt::format(" Accepted by its archer as it is ({}): {}.", rules::printable(accepted),
                       rules::vertical_words(here));
    return std::nullopt;
  }
  switch (rules::side_of(here, band)) {
    case rules::Side::straight:
      note = fmt::format(" The nocking point is level: {}.", rules::vertical_words(here));
      return std::nullopt;
    case rules::Side::positive:
    case rules::Side::negative:
      return look_for_cause(here);
    case rules::Side::unclear:
      break;
  }
  const bool from_side = !now.judgement.side_shots.empty();
  // The mean must come to lie with its interval inside the band.
  const double margin = band - std::abs(here.value);
  const double left = pooled_here->lasting_u95_deg;
  if (margin > left) {
    const double own = std::sqrt(margin * margin - left * left);
    const int needed = shots_needed(pooled_here->per_shot_sd_deg, own, kMostInAll);
    if (needed <= kMostInAll && pooled_here->shots < kMostInAll) {
      Step step;
      step.kind = StepKind::film_more;
      const int asked = std::clamp(needed - pooled_here->shots, 3, kMostAtATime);
      step.amount = asked;
      step.words = fmt::format("Change nothing and film {} more shots of this set-up{}.", asked,
                               from_side ? "" : ", or four from the side if you can");
      step.because = fmt::format(
          "Sideways it leaves straight; up and down, {} does not yet show that the nocking point "
          "is "
          "level.",
          rules::vertical_words(here));
      return step;
    }
  }
  // More likely off than level: a few more tell, where there were not many yet.
  if (margin <= 0.0 && std::abs(here.value) > left && pooled_here->shots < kMostAtATime) {
    Step step;
    step.kind = StepKind::film_more;
    step.amount = rules::kUsualShots;
    step.words = fmt::format("Change nothing and film {} more shots of this set-up{}.",
                             rules::kUsualShots, from_side ? "" : ", from the side if you can");
    step.because =
        fmt::format("Sideways it leaves straight; up and down, {} is more likely off than level.",
                    rules::vertical_words(here));
    return step;
  }
  note = fmt::format(
      " The nocking point cannot be settled {}: {}, and more shots of this kind would not tell "
      "whether that is level.{}",
      from_side ? "by these shots" : "from behind", rules::vertical_words(here),
      from_side ? "" : " Four shots filmed from the side would.");
  return std::nullopt;
}

}  // namespace nocktrail::tune
