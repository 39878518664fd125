// The next step, in the order of the trade: form, nocking point, spine, brace height; fletched
// before bare. The order, the sizes and the signs are common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "learning.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "setup_view.hpp"

namespace nocktrail::tune {

struct Situation {
  const std::vector<SetupView>& setups;
  std::size_t latest;
  const JudgementOptions& options;
  Learner& learner;

  const SetupView& now() const { return setups[latest]; }
};

Step next_step(const Situation& situation);

// Each gives nothing when its turn is over.
std::optional<Step> nocking_point_step(const Situation& situation);
std::optional<Step> contact_step(const Situation& situation);
Step spine_step(const Situation& situation);

// Mean of one offset over all set-ups that are the same as `like`, whatever their folders.
struct Pooled {
  Measured offset_deg;
  int shots = 0;
  double per_shot_sd_deg = 0.0;  // scatter and measurement
};
std::optional<Pooled> pooled(const std::vector<SetupView>& setups, const SetupFacts& like,
                             bool vertical);
bool same_setup(const SetupFacts& a, const SetupFacts& b);

// What must not be gone past, from what was told.
struct Limits {
  std::optional<double> longest_trim_m;  // until half an inch past the rest at full draw
  std::optional<double> lightest_kg;     // arrow mass: the maker's grains per pound, or 5
  std::optional<double> arrow_mass_kg;   // now
  double shaft_mass_per_length_kg_per_m = 0.0;

  bool trim_allowed(double trim_m) const;
  bool lighter_allowed(double less_kg) const;
};
Limits limits_of(const SetupFacts& facts, const ModelSetup& model);

// The safety wording that goes with a step.
void add_cautions(Step& step, const Situation& situation);

}  // namespace nocktrail::tune
