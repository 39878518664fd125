// Steps in which shafts are graded (common practice, no source): even in deflection for tubes, five
// pounds for wood.
#pragma once

namespace nocktrail::arrow {

inline constexpr double kDeflectionStep_in = 0.05;
inline constexpr double kWoodGroup_lb = 5.0;

}  // namespace nocktrail::arrow
