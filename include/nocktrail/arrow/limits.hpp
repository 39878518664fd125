// What must not be gone past: the bow maker's limits, where they were told, and the trade's. From
// figures alone: no simulation, and no complete set-up needed.
//
// What is known to be beyond a limit forbids (Stop). What is not known is never taken for inside:
// unknown() says what would have to be told before a change that could cross a limit.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// Shaft past the rest at full draw below which a caution is raised (common practice, no source).
inline constexpr double kLeastPastRest_m = 0.5 * units::kMetresPerInch;
inline constexpr double kLeastGrainsPerPound = 5.0;        // absolute floor, common practice
inline constexpr double kTraditionalGrainsPerPound = 8.0;  // bowyers usually ask 8 to 10

// What bears on the limits, SI; empty: not known.
struct LimitFacts {
  std::optional<double> arrow_mass_kg;
  // By how much the arrow may be heavier than that, where parts of it were not weighed.
  double arrow_mass_slack_kg = 0.0;
  std::optional<double> held_n;  // at the archer's draw; the marked weight where that is not known
  bool held_as_marked =
      false;  // which a longer draw goes beyond: good enough to forbid, not to allow
  std::optional<double> min_grains_per_pound;  // the maker's
  std::optional<double> shaft_length_m;        // point excluded
  std::optional<double> arrow_length_m;        // to the end of the point
  std::optional<double> draw_m;                // AMO
  std::optional<double> brace_height_m;
  std::optional<double> brace_min_m;  // the maker's range
  std::optional<double> brace_max_m;
  std::optional<double> max_draw_m;         // the maker's
  std::optional<double> max_draw_weight_n;  // the maker's
};
LimitFacts limit_facts(const Setup& setup);

enum class CautionKind {
  below_maker_mass,
  below_floor_mass,
  below_traditional_mass,
  behind_rest,
  near_rest,
  below_maker_brace,
  above_maker_brace,
  beyond_maker_draw,
  beyond_maker_weight,
};

enum class Forbids { nothing, shoot_arrow, draw_bow, shoot_as_braced };

struct Caution {
  CautionKind kind;
  Forbids forbids = Forbids::nothing;
  std::string text;  // one or two sentences; of what forbids: figure, limit and whose it is
  std::string mend;  // what brings it back inside; empty for what forbids nothing
};

// Empty when there is nothing to say; what forbids comes first. The bow maker's own limits, where
// given, come before the trade's.
std::vector<Caution> cautions(const LimitFacts& facts);
std::vector<Caution> cautions(const Setup& setup);

// Those of the cautions that forbid.
std::vector<Caution> stops(const LimitFacts& facts);

// "Do not shoot this arrow": the opening words of what forbids.
const char* forbidding_words(Forbids what);

// The same, figure, limit and mend: the whole of a stop in sentences.
std::string stop_words(const Caution& stop);

// The least arrow mass, kg, for what the bow holds: the maker's grains a pound or the absolute
// floor, whichever is more. Empty when the draw weight is not known.
std::optional<double> lightest_kg(const LimitFacts& facts);
// "the bow's maker asks" or "the trade's absolute floor".
const char* whose_mass_limit(const LimitFacts& facts);

// The shortest shaft that may be drawn, half an inch past the rest left over. Empty when the draw
// length is not known.
std::optional<double> shortest_shaft_m(const LimitFacts& facts);

// What must be told before the arrow is made lighter, or the shaft shorter; one short noun each.
std::vector<std::string> unknown_for_lighter(const LimitFacts& facts);
std::vector<std::string> unknown_for_shorter(const LimitFacts& facts);

}  // namespace nocktrail::arrow
