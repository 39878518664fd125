// What each thing that an archer can change does to the reading, with a band for what is not
// known; what a measured reading leaves to trim; and which spines are worth trying first.
//
// Offsets are those of docs/measurement.md at the reference distance, in the frame of the bow:
// nock_right positive to the shooter's right, nock_high positive up. A right-handed weak arrow is
// negative, a left-handed one positive.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/unknowns.hpp"

namespace nocktrail::arrow {

struct EffectsOptions {
  Prior prior;
  StrokeOptions stroke;
  std::size_t draws = 200;
  std::uint64_t seed = 1;
  unsigned threads = 0;     // 0: every core
  std::size_t pool = 3000;  // prior draws from which a reading picks
  // The model is not validated against films: standard deviation by which it may miss the lateral
  // offset of a real shot even when all unknowns are right.
  double model_error_deg = 1.9;
};

// A measured lateral offset with half its 95 % interval.
struct MeasuredOffset {
  double nock_right_deg = 0.0;
  double u95_deg = 0.0;
};

// Draws of the unknowns, alike in weight.
struct DrawSet {
  std::vector<Unknowns> draws;
  // What the model misses of the lateral offset with each, deg: no more than model_error_deg where
  // a reading says so, the same before and after a change. Empty without a reading.
  std::vector<double> missed_deg;
  // How many prior draws effectively speak for the reading (Kish); the size of the pool when there
  // is no reading. A few dozen or less means that the reading does not fit the set-up.
  double effective = 0.0;
  std::size_t pool = 0;

  double missed(std::size_t draw) const { return missed_deg.empty() ? 0.0 : missed_deg[draw]; }
};
DrawSet draw_set(const Setup& setup, const std::optional<MeasuredOffset>& reading,
                 const EffectsOptions& options);

struct Change {
  std::string key;    // stable, for scripts: "trim_quarter_inch"
  std::string label;  // "shaft trimmed 1/4 in"
  Setup after;
  std::string note;  // where the model and common practice differ; mostly empty
};
// One at a time, both ways, in the order in which an archer meets them.
std::vector<Change> usual_changes(const Setup& setup);

struct Effect {
  Change change;
  Band lateral_deg;                   // change of nock_right
  Band vertical_deg;                  // change of nock_high
  double share_weaker = 0.0;          // of the draws, those in which the arrow acts weaker
  std::vector<std::string> stops;     // limits that the set-up after it is beyond: not to be shot
  std::vector<std::string> cautions;  // that the change newly raises
};

struct EffectsTable {
  Band nock_right_deg;
  Band nock_high_deg;
  Band speed_mps;
  Band flex_amplitude_mm;
  double share_folded = 0.0;    // of the draws, those beyond the small angles of the model
  double share_touching = 0.0;  // of the draws, those whose tail touches the bow after the exit
  std::vector<Effect> effects;
};
// Throws BadInput when the shaft folds under the thrust in most draws.
EffectsTable effects_table(const Setup& setup, const DrawSet& draws, const EffectsOptions& options);

// Lateral offset against the length of the shaft.
struct LengthCurve {
  std::vector<double> length_m;      // ascending
  std::vector<Band> nock_right_deg;  // at each length
  double shortest_safe_m = 0.0;      // the point half an inch past the rest at full draw
};

// What is left to change until the arrow leaves straight, as a distribution over the draws.
struct Remaining {
  Band amount;  // over those draws that reach straight; m trimmed or kg added
  double share_reached = 0.0;
  double share_wrong_way = 0.0;  // already on the other side: this change leads away
  double share_out_of_reach = 0.0;
  std::vector<double> amounts;  // sorted, one per draw that reaches straight
};

struct Outlook {
  LengthCurve curve;
  Remaining trim;      // metres to trim, as far as the limits allow
  Remaining add_tip;   // kilograms to add at the tip
  Remaining lose_tip;  // kilograms to take off at the tip, as far as the limits allow
  // Slope of the lateral offset with length at the present length, per inch; its sign says which
  // way the arrow must move after a trim if nothing touches the bow.
  Band per_inch_trimmed_deg;
};
Outlook outlook(const Setup& setup, const DrawSet& draws, const EffectsOptions& options);

// The static spines at which the model's arrow leaves straight, everything but the shaft's
// stiffness as in the set-up, its mass per length with the square root of the stiffness.
struct StartingRange {
  Band astm_deflection_in;
  Band wood_pounds;
  double low80_in = 0.0;  // central 80 % in ASTM inches: the range of a test set
  double high80_in = 0.0;
  double share_found = 0.0;
  std::vector<std::string> groups;    // those groups that fall in the 80 % range, inside all limits
  std::vector<std::string> left_out;  // those that would be beyond a limit, with the reason
  double rule_of_thumb_lb = 0.0;      // common practice, no source; wide on purpose
  double rule_of_thumb_spread_lb = 0.0;
};
StartingRange starting_range(const Setup& setup, const DrawSet& draws,
                             const EffectsOptions& options);

}  // namespace nocktrail::arrow
