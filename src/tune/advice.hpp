// The next step, in the order of the trade: what must not be shot; what must be told; form;
// contact; nocking point; spine on the bare shaft, by what can be undone before a cut; the finished
// arrow; brace height. The order, the sizes and the signs are common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <string_view>
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
// How the reading answers what was taken off this shaft, where that should have moved it by
// degrees. Hardly: it is not spine, and more of the same is not the cure. Doubtfully: not to be cut
// yet.
enum class Answers { well, doubtfully, hardly };
Answers how_it_answers(const Situation& situation);
// Looks for contact before a shaft is cut that does not answer well; empty where it may be, or
// after so many shots that more looking is of no use.
std::optional<Step> contact_before_cut(const Situation& situation);
// By how much what was changed usually makes the shaft act stiffer; negative: weaker.
double usually_stiffer_deg(const SetupFacts& then, const SetupFacts& now);
// A shaft that trailed too far bare is not to be shot bare again, under whatever name.
std::optional<Step> mismatch_step(const Situation& situation);
// A shot of this set-up that still counts and forbids its arrow: no set is built to it.
std::optional<Step> stop_standing_in(const SetupView& setup);
// The same for a set that is to be built while the bare shaft, last shot as `bare`, trailed too far
// somewhere and nothing done since lifts it.
std::optional<Step> stop_standing_bare(const Situation& situation, const SetupView& bare);
// A name in small letters, without space at its ends.
std::string plain_name(std::string_view name);
// Whether two names that were both told name two things; small and large letters are alike.
bool other_name(std::string_view one, std::string_view other);
// What forbids to shoot a set-up by its own facts and shots alone, each a whole text.
std::vector<std::string> stops_of(const SetupView& setup);
// A bare shaft trailed too far up or down, and nothing done since brings it back: not to be shot
// bare yet. Empty where it may be.
std::optional<Step> level_before_bare(const Situation& situation);
// Other shafts for a fletched arrow whose shaft must not be shot bare, by what it did bare or by
// how far it trails fletched. Empty where it may be.
std::optional<Step> instead_of_bare(const Situation& situation, const Measured& fletched_deg);
Step spine_step(const Situation& situation);

// When sideways is straight: what is left of the vertical offset of a set-up. Empty where it is
// level or was accepted; `note` then gets what is to be said of it.
std::optional<Step> level_step(const Situation& situation, const SetupView& of, std::string& note);

// Mean of one offset over all set-ups that are the same as `like`, whatever their folders. Where
// they disagree by more than their intervals, the mean's interval is widened by the Birge ratio
// (Birge, Phys. Rev. 40 (1932) 207): something that was not written down differs between them.
struct Pooled {
  Measured offset_deg;
  int shots = 0;
  double per_shot_sd_deg = 0.0;  // scatter and measurement
  double lasting_u95_deg = 0.0;  // of the interval, what more shots do not take away
  double birge_ratio = 0.0;  // spread of the set-ups over what they claim; over 1: they disagree
  int setups = 0;
};
std::optional<Pooled> pooled(const std::vector<SetupView>& setups, const SetupFacts& like,
                             bool vertical);
// Whether the set-ups that were pooled differ by more than chance (two standard deviations): then
// nothing is cut, built or called done on their mean.
bool disagree(const Pooled& pooled);
bool same_setup(const SetupFacts& a, const SetupFacts& b);
// Whether names, diameters or masses per length that were told of both say that these are two
// shafts.
bool another_shaft(const SetupFacts& a, const SetupFacts& b);
// How long other shafts are to be left, in words: a full-length one acts weaker than a short one by
// more than a spine group is worth.
std::string how_long_others(const SetupFacts& facts);

// The latest set-up that is the present one but for its fletching, with enough shots; null: none.
const SetupView* with_fletching(const Situation& situation, Fletching fletching);

// What a fletched arrow, a bare twin of which leaves straight, says against being done: it reads
// weaker, stiffer than feathers make it, or high or low. Empty where it agrees; `cautions` then get
// what is to be said of it.
std::optional<Step> fletching_step(const Situation& situation, const SetupView& bare,
                                   const SetupView& fletched, std::vector<std::string>& cautions);

// The set-up that the rest of the arrows are built as: the fletched twin of a bare one, where it
// was shot.
const SetupView& finished(const Situation& situation);

// Other shafts for a fletched arrow that must not be tried bare: before anything is done about the
// nocking point, which a badly matched shaft tells little of.
std::optional<Step> not_bare_step(const Situation& situation);

// Sideways is straight: level, then the finished arrow, then done. `reading`: from which figures.
Step finish_step(const Situation& situation, const std::string& reading);

struct Limits;
// A fletched arrow: the bare shaft tells of spine, the fletched one whether the fletching touches.
// Empty where it has to be judged by itself, for bare it would be too light.
std::optional<Step> fletched_step(const Situation& situation, const Limits& limits);

// How far the bare shaft may still be changed (gate.hpp). What is not known is not allowed: it is
// asked for first.
struct Limits {
  double longest_trim_m = 0.0;  // until half an inch past the rest at full draw
  double spare_kg = 0.0;        // of mass above the maker's grains per pound, or the floor
  double shaft_mass_per_length_kg_per_m = 0.0;
  std::vector<std::string> unknown_for_lighter;  // empty: all is known
  std::vector<std::string> unknown_for_shorter;

  bool trim_allowed(double trim_m) const;
  bool lighter_allowed(double less_kg) const;
};
Limits limits_of(const SetupFacts& facts);

// " The finished arrow must weigh no less than ...": for shafts that are weaker, so lighter. Empty
// where the draw weight is not known.
std::string least_mass_words(const SetupFacts& facts);

// Asks for what would decide whether a change stays inside the limits: the change in words ("a
// cut"), what is not known.
Step ask_for(const std::vector<std::string>& unknown, const std::string& before,
             const std::string& because);

// What is not known of the limits of an arrow that a set is to be built to, asked for; empty when
// all is known.
std::optional<Step> ask_before_building(const Situation& situation, const std::string& because);

// The safety wording that goes with a step.
void add_cautions(Step& step, const Situation& situation);

}  // namespace nocktrail::tune
