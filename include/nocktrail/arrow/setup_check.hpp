// What cannot be: the ranges of a set-up.
#pragma once

#include <string>
#include <string_view>

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// Throws BadInput naming field, value and accepted range. Ranges are wide: they hold whatever has
// been sold or shot, and stop slips of the unit or the decimal point.
void check_setup(const Setup& setup);

// What check_setup accepts for a field of a set-up file ("bow.draw_weight"), in the archer's unit:
// "10 to 150lb". Empty for a field without a fixed range.
std::string accepted_range(std::string_view field);

}  // namespace nocktrail::arrow
