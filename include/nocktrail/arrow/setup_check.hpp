// What cannot be, and what should not be: the ranges of a set-up, and the trade's cautions.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// Shaft past the rest at full draw below which a caution is raised.
inline constexpr double kLeastPastRest_m = 0.5 * units::kMetresPerInch;
inline constexpr double kLeastGrainsPerPound = 5.0;        // absolute floor, common practice
inline constexpr double kTraditionalGrainsPerPound = 8.0;  // bowyers usually ask 8 to 10

// Throws BadInput naming field, value and accepted range. Ranges are wide: they hold whatever has
// been sold or shot, and stop slips of the unit or the decimal point.
void check_setup(const Setup& setup);

// What check_setup accepts for a field of a set-up file ("bow.draw_weight"), in the archer's unit:
// "10 to 150lb". Empty for a field without a fixed range.
std::string accepted_range(std::string_view field);

enum class CautionKind {
  below_maker_mass,
  below_floor_mass,
  below_traditional_mass,
  behind_rest,
  near_rest,
  below_maker_brace,
  above_maker_brace,
};

struct Caution {
  CautionKind kind;
  std::string text;  // one or two sentences
};

// Empty when there is nothing to say. The bow maker's own limits, where given, come before the
// trade's.
std::vector<Caution> cautions(const Setup& setup);

}  // namespace nocktrail::arrow
