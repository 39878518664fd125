// The groups in which shafts are commonly sold (common practice, no source).
#pragma once

#include <array>

namespace nocktrail::arrow {

inline constexpr std::array<double, 13> kDeflectionGroups_in{
    0.250, 0.300, 0.340, 0.400, 0.500, 0.600, 0.700, 0.800, 0.900, 1.000, 1.150, 1.300, 1.500};
inline constexpr double kWoodGroup_lb = 5.0;

}  // namespace nocktrail::arrow
