// Offsets for statistics: a folded shaft counts as far out, not as infinitely far.
#pragma once

#include <algorithm>

#include "nocktrail/arrow/power_stroke.hpp"

namespace nocktrail::arrow {

inline double bounded_deg(double offset_deg) {
  return std::clamp(offset_deg, -90.0, 90.0);
}

inline double lateral_offset_deg(const ExitState& shot) {
  return bounded_deg(shot.lateral.reference_offset_deg);
}

inline double vertical_offset_deg(const ExitState& shot) {
  return bounded_deg(shot.vertical.reference_offset_deg);
}

}  // namespace nocktrail::arrow
