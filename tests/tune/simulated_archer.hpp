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
  int shots = 0;  // from either place
  double scatter_deg = 0.0;
  bool mean_held = false;  // the last set-up's mean, sideways, held the truth in its interval
  bool open_up_and_down = false;   // said to be: the nocking point cannot be settled
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
  // Where the bow is not the model's: sideways it answers to a change by so many times as much,
  // from a full-length shaft that stands off by so much to either side; its string's side stiffness
  // and the mass that swings with it are these times the middle.
  double answer = 1.0;
  double shift_deg = 0.0;
  double string_side = 1.0;
  double string_side_mass = 1.0;
  // The reading: half a 95 % interval up and down between 0.5 and 1 deg instead of 0.2 to 0.6; the
  // part of its variance that is the same error in all shots of the session; how often a shot flies
  // off by 4 deg, and how often it touches the bow (nock away from the bow by 2 deg and up by 1).
  bool reader_as_measured = false;
  double shared = 0.0;
  double flyers = 0.0;
  double touches = 0.0;
  // Four more shots are filmed from the side where the nocking point was moved, and where the
  // advice says that they would tell. Half a 95 % interval of theirs is 0.2 to 0.45 deg.
  bool from_side = false;
};

// The same seed gives the same archer and the same shots.
LoopResult run_loop(std::uint64_t seed, const JudgementOptions& options, int most_steps = 25,
                    const World& world = {});

// The same archer by a plain rule of the trade instead of the program: six shots a set-up; bare,
// the nocking point by sixteenths until the mean is inside the dead band; trimmed by 1/2, 1/4 or
// 1/8 in by the size of the offset (over 2 deg, over 1 deg, less) until the mean is inside it;
// fletched.
LoopResult run_plain_rule(std::uint64_t seed, int most_steps = 25, const World& world = {});

// The first set-ups of such an archer, bare and with a level nocking point, each `trims_m` shorter
// than the full length; and what the model says of any set-up of theirs.
struct Beginning {
  SessionRecord session;
  std::function<Truth(const SetupFacts&)> truth;
};
Beginning beginning(std::uint64_t seed, const std::vector<double>& trims_m,
                    const World& world = {});

}  // namespace nocktrail::tune::simulated
