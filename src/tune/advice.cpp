#include "advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

constexpr int kFewestShots = 3;  // before anything is changed
constexpr int kUsualShots = 6;
// Scatter that no mean of a handful of shots gets past.
constexpr double kFormFirst_deg = 2.0;

std::optional<Step> more_shots(const Situation& situation) {
  const auto here = pooled(situation.setups, situation.now().facts, false);
  const int shots = here ? here->shots : 0;
  if (shots >= kFewestShots) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::film_more;
  step.amount = kUsualShots - shots;
  const SetupJudgement& judgement = situation.now().judgement;
  if (shots == 0 && judgement.refused > 0) {
    step.words = fmt::format(
        "Film {} shots of this set-up from behind and above the archer, looking downrange, with "
        "the loose and the whole bow in the picture.",
        kUsualShots);
    step.because = fmt::format("None of its {} clip{} gave a number.", judgement.refused,
                               judgement.refused == 1 ? "" : "s");
    return step;
  }
  step.words = fmt::format("Film {} {}shot{} of this set-up.", kUsualShots - shots,
                           shots > 0 ? "more " : "", kUsualShots - shots == 1 ? "" : "s");
  step.because = shots == 0 ? std::string("It has no shots yet.")
                            : fmt::format("{} shot{} cannot tell offset from scatter.", shots,
                                          shots == 1 ? "" : "s");
  return step;
}

std::optional<Step> form_step(const Situation& situation) {
  const SetupJudgement& now = situation.now().judgement;
  if (!counted(situation.now())) {
    return std::nullopt;
  }
  const double scatter = std::max(now.lateral->scatter_deg, now.vertical->scatter_deg);
  const bool open =
      now.spine == SpineVerdict::unclear || now.nocking_point == NockingPointVerdict::unclear;
  if (now.counted <= kFewestShots || scatter < kFormFirst_deg || !open) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::mind_form;
  constexpr int kMost = 100;
  const int needed = shots_needed(scatter, situation.options.dead_band_deg, kMost);
  step.words =
      "Form first: an even loose, the same draw from shot to shot, no torque. Come closer, shoot "
      "fletched arrows until they group, then shoot this set-up again.";
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

bool same_setup(const SetupFacts& a, const SetupFacts& b) {
  if (rest_of(a) != rest_of(b)) {
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

std::optional<Pooled> pooled(const std::vector<SetupView>& setups, const SetupFacts& like,
                             bool vertical) {
  Pooled result;
  double weight_sum = 0.0;
  double variance_sum = 0.0;
  for (const SetupView& setup : setups) {
    if (!counted(setup) || !same_setup(setup.facts, like)) {
      continue;
    }
    const OffsetSummary& offset = vertical ? *setup.judgement.vertical : *setup.judgement.lateral;
    const double weight = 1.0 / std::max(offset.u95_deg * offset.u95_deg, 1e-12);
    const double u = offset.u95_deg / student_factor(offset.freedom);
    result.offset_deg.value += weight * offset.mean_deg;
    weight_sum += weight;
    result.shots += setup.judgement.counted;
    variance_sum += setup.judgement.counted * setup.judgement.counted * u * u;
  }
  if (result.shots == 0) {
    return std::nullopt;
  }
  result.offset_deg.value /= weight_sum;
  result.offset_deg.u95 = 1.0 / std::sqrt(weight_sum);
  result.per_shot_sd_deg = std::sqrt(variance_sum / result.shots);
  return result;
}

Step next_step(const Situation& situation) {
  std::optional<Step> step = more_shots(situation);
  if (!step) {
    step = form_step(situation);
  }
  if (!step) {
    step = contact_step(situation);
  }
  if (!step) {
    step = nocking_point_step(situation);
  }
  if (!step) {
    step = spine_step(situation);
    const NockingPointVerdict left = situation.now().judgement.nocking_point;
    if (left == NockingPointVerdict::high || left == NockingPointVerdict::low) {
      step->cautions.push_back(fmt::format(
          "Nock {} is left that the nocking point does not take away: look for contact with the "
          "shelf, an uneven pull of the fingers, or a tight nock.",
          rules::word(left)));
    }
  }
  add_cautions(*step, situation);
  return *step;
}

}  // namespace nocktrail::tune
