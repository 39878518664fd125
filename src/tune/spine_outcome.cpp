#include "spine_outcome.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {
namespace {

constexpr int kFewestMore = 3;
constexpr int kMostMore = 12;  // asked for at a time
constexpr int kHopeless = 30;  // more than this: form first

// The mean must come to lie inside the band, or clear of zero, with its uncertainty: the margin
// over Student's factor is the standard uncertainty to reach, and precision adds up over shots.
double wanted_sd_deg(const Pooled& here, const Outcome& outcome, double band) {
  const double margin = std::max(band - std::abs(outcome.median_deg), 0.4 * band);
  return margin / student_factor(std::max(2.0, here.shots - 1.0), 0.8);
}

// More shots from the same place would repeat the same error. What would not: figures that were
// not told, and another place of the phone.
Step film_otherwise(const Situation& situation, const Outcome& outcome) {
  const SetupFacts& facts = situation.now().facts;
  std::vector<std::string> tell;
  constexpr double kMostOfIt = 0.7;
  const double lasting_deg = pooled(situation.setups, facts, false)->lasting_u95_deg;
  if (counted(situation.now()) &&
      situation.now().judgement.lateral->cant_u95_deg > kMostOfIt * lasting_deg) {
    tell.emplace_back(
        "the bow's cant (a level beside the upper limb, the bow held as for the shot but not "
        "drawn)");
  }
  if (!facts.arrow.arrow_length_m) {
    tell.emplace_back("the arrow's length from the nock's throat to the end of the point");
  }
  if (!facts.camera.focal_35mm) {
    tell.emplace_back("how wide a stretch the phone's picture shows from how far");
  }
  if (!facts.target_distance_m) {
    tell.emplace_back("the distance from the arrow rest to the butt's face");
  }
  Step step;
  step.kind = StepKind::film_more;
  step.amount = rules::kUsualShots;
  step.words = fmt::format(
      "More shots from the same place would repeat the same error. {} the phone up anew, a hand's "
      "breadth higher or lower, and film {} shots of this set-up into a folder of their "
      "own.",
      tell.empty() ? std::string("Put")
                   : fmt::format("Measure and tell {}; then put", fmt::join(tell, ", ")),
      rules::kUsualShots);
  step.because =
      fmt::format("Of the mean, ± {:.1f} deg is an error that all shots of this set-up share: {}.",
                  lasting_deg, reading_words(situation, outcome));
  return step;
}

}  // namespace

Outcome outcome_of(const Answer& answer, double band) {
  Outcome outcome;
  outcome.stiff = answer.chance(answer.here, band);
  outcome.weak = 1.0 - answer.chance(answer.here, -band);
  outcome.straight = 1.0 - outcome.stiff - outcome.weak;
  outcome.negative = 1.0 - answer.chance(answer.here, 0.0);
  outcome.median_deg = answer.median(answer.here);
  const Eigen::VectorXd column = answer.offset_deg.col(static_cast<Eigen::Index>(answer.here));
  outcome.sd_deg = std::sqrt((column.array() - column.mean()).square().mean());
  return outcome;
}

std::string reading_words(const Situation& situation, const Outcome& outcome) {
  const auto shots = pooled(situation.setups, situation.now().facts, false);
  const double side = stiff_sign(situation.now().facts.hand);
  const bool fletched_alone = situation.now().facts.arrow.fletching == Fletching::fletched;
  return fmt::format(
      "the mean of {} shots is {}; with all set-ups and what is known of bows it is {}, the "
      "chance that it is straight {}{}",
      shots->shots, rules::lateral_words(shots->offset_deg),
      rules::lateral_words({side * outcome.median_deg, kSigmasPerU95 * outcome.sd_deg}),
      chance_words(outcome.straight),
      fletched_alone ? " (bare it would be too light for the bow to be shot)" : "");
}

bool more_shots_help(const Pooled& here, const Outcome& outcome, double band) {
  return here.shots < rules::kUsualShots ||
         here.lasting_u95_deg / kSigmasPerU95 < wanted_sd_deg(here, outcome, band);
}

Step film_more(const Situation& situation, const Outcome& outcome) {
  const double band = situation.options.dead_band_deg;
  const auto here = pooled(situation.setups, situation.now().facts, false);
  if (disagree(*here)) {
    Step step;
    step.kind = StepKind::film_more;
    step.amount = rules::kUsualShots;
    step.words = fmt::format(
        "Cut nothing and build nothing: set-ups of the same facts read differently. Write down "
        "what changed between them (the shaft's length, its tip, the nocking point, brace height, "
        "string), or leave out the shots that no longer hold; then film {} shots of it as it is "
        "now.",
        rules::kUsualShots);
    step.because = "Together they do not tell: " + reading_words(situation, outcome) + ".";
    return step;
  }
  if (!more_shots_help(*here, outcome, band)) {
    return film_otherwise(situation, outcome);
  }
  const double wanted_sd = wanted_sd_deg(*here, outcome, band);
  const double lasting_sd = here->lasting_u95_deg / kSigmasPerU95;
  const auto precision = [&](double sd) {
    return 1.0 / std::max(sd * sd - lasting_sd * lasting_sd, 1e-4);
  };
  const double gain = precision(wanted_sd) - precision(outcome.sd_deg);
  const double more = std::ceil(here->per_shot_sd_deg * here->per_shot_sd_deg * gain);
  Step step;
  step.because = "Scatter hides the answer: " + reading_words(situation, outcome) + ".";
  if (more > kHopeless) {
    step.kind = StepKind::mind_form;
    step.words = fmt::format(
        "Form first: at this scatter it would take some {:.0f} more shots to settle it. Work on an "
        "even loose and the same draw from shot to shot, come closer, then shoot this set-up "
        "again.",
        more);
    return step;
  }
  step.kind = StepKind::film_more;
  const int asked = std::clamp(static_cast<int>(more), kFewestMore, kMostMore);
  step.amount = asked;
  step.words = fmt::format("Change nothing and film {} more shots of this set-up.", asked);
  return step;
}

}  // namespace nocktrail::tune
