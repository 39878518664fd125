// Safety wording of the trade and of club safety pages: common practice, no source.
#include <fmt/format.h>

#include <cmath>

#include "advice.hpp"
#include "bow_model.hpp"
#include "nocktrail/arrow/setup_check.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kBadMismatch_deg = 2.0;  // from the near end of the interval on; as in rules

const char* const kShaft =
    "Before each shot look at the shaft, twist it, flex it about 2 in while turning it, and "
    "listen; destroy a damaged carbon shaft, break a cracked wooden one.";
const char* const kRange =
    "Nobody downrange; whoever films stays behind the shooting line, clear of elbow and limbs; "
    "secure an overhead mount; leave the phone where it is until the line is called clear. Local "
    "range rules override this advice.";
const char* const kBare =
    "Start bare shafts close by, at a large soft butt, with others well back, and stop when the "
    "flight is erratic: a badly mismatched one may break or glance off.";
const char* const kWeak = "A shaft that is much too weak can break on release.";
const char* const kMass =
    "The arrow gets lighter: 5 grains per pound of draw weight is the absolute floor, traditional "
    "bowyers usually ask for 8 to 10, and the bow maker's limits on arrow mass, draw and brace "
    "height win. Weigh it before shooting.";
const char* const kTrim =
    "A cut cannot be undone. Never trim so far that the arrow could be drawn past the rest.";
const char* const kCut =
    "Cut carbon wet or with dust extraction, wearing a fine-dust respirator, eye protection and "
    "gloves.";
const char* const kBrace =
    "Stay within the bow maker's limits on brace height, unstring the bow to twist the string, and "
    "never dry-fire it.";

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
  if (cuts(step.kind)) {
    cautions.emplace_back(kTrim);
    cautions.emplace_back(kCut);
  }
  if (step.kind == StepKind::trim_shaft || step.kind == StepKind::lighter_tip) {
    cautions.emplace_back(kMass);
  }
  if (step.kind == StepKind::trim_shaft || step.kind == StepKind::lighter_tip ||
      step.kind == StepKind::stiffer_shaft || step.kind == StepKind::weaker_shaft) {
    cautions.emplace_back(kWeak);
  }
  if (step.kind == StepKind::fine_tune_brace || step.kind == StepKind::done) {
    cautions.emplace_back(kBrace);
  }
  const bool mismatch =
      counted(now) &&
      std::max(std::abs(now.judgement.lateral->mean_deg) - now.judgement.lateral->u95_deg,
               std::abs(now.judgement.vertical->mean_deg) - now.judgement.vertical->u95_deg) >
          kBadMismatch_deg;
  if (mismatch || step.kind == StepKind::shoot_bare ||
      now.facts.arrow.fletching == Fletching::bare) {
    cautions.emplace_back(kBare);
  }
  if (const auto changed = after(step, situation.learner.present().setup)) {
    for (const arrow::Caution& caution : arrow::cautions(*changed)) {
      cautions.push_back("After this change: " + caution.text);
    }
  }
  cautions.emplace_back(kShaft);
  cautions.emplace_back(kRange);
}

}  // namespace nocktrail::tune
