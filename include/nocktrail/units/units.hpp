// Quantities as archers write them, turned into SI once, at the edge, and printed back.
//
// A quantity is a number and a unit, the blank between them optional: "30in", "762 mm", "45lb",
// "125gr", "8.0gr/in", "178fps". The number may be a decimal, a fraction or a whole number and a
// fraction: "5/16in", "28 1/2in". A bare number is refused: the unit is what people get wrong.
// Every parse_ function throws BadInput naming `field` when the unit is missing or of another
// kind, or the number is not finite. What people write besides is read as well: 30", 30inches,
// 45lbs, a decimal comma ("30,5in", not before three digits, which may be thousands).
#pragma once

#include <numbers>
#include <string>
#include <string_view>

namespace nocktrail::units {

inline constexpr double kMetresPerInch = 0.0254;                  // exact, SI definition
inline constexpr double kKilogramsPerGrain = 64.79891e-6;         // exact, SI definition
inline constexpr double kMetresPerFoot = 0.3048;                  // exact
inline constexpr double kKilogramsPerPound = 0.45359237;          // exact
inline constexpr double kStandardGravity = 9.80665;               // m/s^2, exact, SI definition
inline constexpr double kNewtonsPerPoundForce = 4.4482216152605;  // exact

constexpr double rad_from_deg(double deg) {
  return deg * std::numbers::pi / 180.0;
}
constexpr double deg_from_rad(double rad) {
  return rad * 180.0 / std::numbers::pi;
}

// "30in", "762mm", "76.2 cm", "0.762m", "5/16in" -> metres.
double parse_length_m(std::string_view text, std::string_view field);

// The deflection that a shaft is sold by: a length, or "500" as shafts are marked, thousandths of
// an inch (common practice) -> metres.
double parse_deflection_m(std::string_view text, std::string_view field);

// "15", "15deg", "15 degrees", "15°": the one quantity whose unit may be left out.
double parse_angle_deg(std::string_view text, std::string_view field);

// How wide a stretch a picture shows, and from how far: "2.9m at 2m", "114in from 79in" -> width
// over distance. Both are lengths as above, "at", "from" or "@" between them. Refused where it is
// no phone's main or wide lens, as when the two are exchanged.
double parse_picture_width(std::string_view text, std::string_view field);

// "125gr", "8.1 g", "0.03kg" -> kilograms. Pounds are refused: in archery they are a force.
double parse_mass_kg(std::string_view text, std::string_view field);

// "45lb", "200N" -> newtons; a pound is a pound-force.
double parse_force_n(std::string_view text, std::string_view field);
// The draw weight of a bow. Refuses newtons that would make less than 22 lb of it: pounds were
// meant, more often than not, and a bow that is taken for weaker than it is gets arrows that are
// too light.
double parse_draw_weight_n(std::string_view text, std::string_view field);

// "178fps", "178 ft/s", "54.2m/s" -> metres per second.
double parse_speed_mps(std::string_view text, std::string_view field);

// "8.0gr/in", "20.4g/m" -> kilograms per metre.
double parse_mass_per_length_kg_per_m(std::string_view text, std::string_view field);

enum class LengthUnit { in, mm, cm, m };
enum class MassUnit { gr, g };
enum class ForceUnit { lb, newton };
enum class SpeedUnit { fps, mps };
enum class MassPerLengthUnit { gr_per_in, g_per_m };

// The way back: shortest text of at most `digits` significant digits that the matching parse_
// function reads, for example "30in", "54.2m/s".
std::string format_length(double length_m, LengthUnit unit, int digits = 6);
std::string format_mass(double mass_kg, MassUnit unit, int digits = 6);
std::string format_force(double force_n, ForceUnit unit, int digits = 6);
std::string format_speed(double speed_mps, SpeedUnit unit, int digits = 6);
std::string format_mass_per_length(double kg_per_m, MassPerLengthUnit unit, int digits = 6);

}  // namespace nocktrail::units
