// Quantities as archers write them, turned into SI once, at the edge.
#pragma once

#include <numbers>
#include <string_view>

namespace nocktrail::units {

inline constexpr double kMetresPerInch = 0.0254;        // exact, SI definition
inline constexpr double kKilogramsPerGrain = 64.79891e-6;  // exact, SI definition
inline constexpr double kMetresPerFoot = 0.3048;        // exact
inline constexpr double kNewtonsPerPoundForce = 4.4482216152605;  // exact

constexpr double rad_from_deg(double deg) { return deg * std::numbers::pi / 180.0; }
constexpr double deg_from_rad(double rad) { return rad * 180.0 / std::numbers::pi; }

// "30in", "762mm", "76.2 cm", "0.762m" -> metres. Throws BadInput naming `field` when the unit is
// missing or unknown, or the number is not finite.
double parse_length_m(std::string_view text, std::string_view field);

}  // namespace nocktrail::units
