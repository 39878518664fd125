// An invented archer with a bow, a full-length shaft that acts weak and a high nocking point, who
// films shots and does what the judgement says, and nothing else. The shots come from the arrow
// model with unknowns drawn once for each archer; the judgement never sees them.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune::simulated {

struct Truth {
  double stiff_deg = 0.0;  // sideways, positive acts stiff, for either hand
  double nock_high_deg = 0.0;
};

struct LoopResult {
  SetupFacts start;
  SetupFacts finish;
  Truth at_start;
  Truth at_finish;
  bool finished = false;  // the judgement said so
  int steps = 0;          // pieces of advice followed
  int trims = 0;
  int shots = 0;
  double scatter_deg = 0.0;
  double furthest_past_deg = 0.0;  // largest stiff_deg that a trim led to; 0 when none did
  bool overshot = false;           // a trim led past straight by more than the dead band
  bool past_a_limit = false;       // a shaft shorter, or an arrow lighter, than is safe
  std::string last_words;          // of the last step
  std::string history;             // each step with the true offsets after it
};

struct World {
  // The archer does not tell the spine (but weighs the arrow): the judgement has no arrow model.
  bool spine_told = true;
  // Standard deviations of the archers' unknowns over those that the judgement believes in.
  double spread = 1.0;
};

// The same seed gives the same archer and the same shots.
LoopResult run_loop(std::uint64_t seed, const JudgementOptions& options, int most_steps = 25,
                    const World& world = {});

// The first set-ups of such an archer, bare and with a level nocking point, each `trims_m` shorter
// than the full length; and what the model says of any set-up of theirs.
struct Beginning {
  SessionRecord session;
  std::function<Truth(const SetupFacts&)> truth;
};
Beginning beginning(std::uint64_t seed, const std::vector<double>& trims_m,
                    const World& world = {});

}  // namespace nocktrail::tune::simulated
