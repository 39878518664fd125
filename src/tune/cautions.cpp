// Safety wording of the trade and of club safety pages: common practice, no source.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "bow_model.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/rules/safety.hpp"

namespace nocktrail::tune {
namespace {

namespace caution = rules::caution;

bool cuts(StepKind kind) {
  return kind == StepKind::trim_shaft || kind == StepKind::weaker_shaft ||
         kind == StepKind::stiffer_shaft;
}

std::optional<arrow::Setup> after(const Step& step, const std::optional<arrow::Setup>& now) {
  if (!now || !step.amount) {
    return std::nullopt;
  }
  const double amount = *step.amount;
  const auto moved = [&](Quantity quantity, double by) {
    return with(*now, quantity, value_in(*now, quantity) + by);
  };
  switch (step.kind) {
    case StepKind::trim_shaft:
      return moved(Quantity::shaft_length, -amount);
    case StepKind::lighter_tip:
      return moved(Quantity::tip_mass, -amount);
    default:
      return std::nullopt;
  }
}

}  // namespace

void add_cautions(Step& step, const Situation& situation) {
  std::vector<std::string>& cautions = step.cautions;
  const SetupView& now = situation.now();
  if (forbids(step.kind)) {
    cautions.emplace_back(caution::kShaft);
    return;
  }
  if (cuts(step.kind)) {
    cautions.emplace_back(caution::kTrim);
    cautions.emplace_back(caution::kCut);
  }
  if (step.kind == StepKind::trim_shaft || step.kind == StepKind::lighter_tip ||
      step.kind == StepKind::weaker_shaft) {
    cautions.emplace_back(caution::kMass);
  }
  if (step.kind == StepKind::trim_shaft || step.kind == StepKind::lighter_tip ||
      step.kind == StepKind::stiffer_shaft || step.kind == StepKind::weaker_shaft) {
    cautions.emplace_back(caution::kWeak);
  }
  if (step.kind == StepKind::fine_tune_brace || step.kind == StepKind::done) {
    cautions.emplace_back(caution::kBrace);
  }
  const bool mismatch =
      counted(now) &&
      std::max(std::abs(now.judgement.lateral->mean_deg) - now.judgement.lateral->u95_deg,
               std::abs(now.judgement.vertical->mean_deg) - now.judgement.vertical->u95_deg) >
          rules::kBadMismatch_deg;
  const Fletching fletching = now.facts.arrow.fletching;
  // Feathers hide a weak shaft by degrees.
  if (counted(now) && now.facts.hand != Hand::unknown && fletching == Fletching::fletched &&
      stiff_sign(now.facts.hand) * now.judgement.lateral->mean_deg < -rules::kBadMismatch_deg &&
      std::find(cautions.begin(), cautions.end(), caution::kWeak) == cautions.end()) {
    cautions.emplace_back(caution::kWeak);
  }
  if (step.kind == StepKind::shoot_bare || fletching == Fletching::bare ||
      (mismatch && fletching != Fletching::fletched)) {
    cautions.emplace_back(caution::kBare);
  }
  if (const auto changed = after(step, situation.learner.present().setup)) {
    for (const arrow::Caution& raised : arrow::cautions(*changed)) {
      cautions.push_back("After this change: " + raised.text);
    }
  }
  cautions.emplace_back(caution::kShaft);
  cautions.emplace_back(caution::kRange);
}

}  // namespace nocktrail::tune
