// The plain data of a bow, an archer and an arrow, and what follows from it by statics alone.
// All in SI. Lateral quantities are written for the archer, not for a hand: "outside" is the side
// of the bow on which the arrow lies (the shooter's left for a right-handed archer).
#pragma once

#include <optional>

#include "nocktrail/reading.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::arrow {

// In which trade's groups a shaft is sold: deflection groups (tubes) or pounds (wood).
enum class SpineGroups { deflection, pounds };

struct Shaft {
  double length_m = 0.0;                  // nock throat to the end of the shaft, point excluded
  double ei_n_m2 = 0.0;                   // of the full-diameter part
  double mass_per_length_kg_per_m = 0.0;  // of the full-diameter part
  double diameter_m = 0.0;
  // A tapered tail: the diameter falls linearly over the last `taper_length_m` to
  // `taper_end_diameter_m` at the nock, EI with its fourth power and mass with its square, as in
  // solid wood. 0 means parallel.
  double taper_length_m = 0.0;
  double taper_end_diameter_m = 0.0;
  SpineGroups groups = SpineGroups::deflection;
};

struct ArrowBuild {
  Shaft shaft;
  double nock_mass_kg = 0.0;
  double tip_mass_kg = 0.0;             // point and insert, taken at the end of the shaft
  double fletching_mass_kg = 0.0;       // 0 for a bare shaft
  double fletching_from_nock_m = 0.06;  // where the fletching's mass and lift sit
  double fletching_area_m2 = 0.0;       // effective lifting area; 0 for a bare shaft
};

struct Bow {
  double draw_weight_n = 0.0;                          // at the rated draw
  double rated_draw_m = 28.0 * units::kMetresPerInch;  // AMO
  double brace_height_m = 0.0;                         // string to pivot point
  // The face of the strike plate, measured from the plane in which the string moves: positive
  // outside centre, negative when the window is cut past centre.
  double plate_offset_m = 0.0;
  // Underside of the nocking point above square from the shelf; the nock sits just beneath it. A
  // nock as thick as the shaft lies level when this equals the shaft's diameter.
  double nocking_point_m = 0.0;
  std::optional<double> string_mass_kg;  // the whole string as it hangs on the bow
  std::optional<double> brace_min_m;     // what the bow's maker allows
  std::optional<double> brace_max_m;
  std::optional<double> min_grains_per_pound;
  std::optional<double> max_draw_m;         // AMO, what the bow's maker allows
  std::optional<double> max_draw_weight_n;  // likewise
};

struct Archer {
  Hand hand = Hand::right;
  double draw_m = 28.0 * units::kMetresPerInch;  // AMO
};

struct Setup {
  Bow bow;
  Archer archer;
  ArrowBuild arrow;
};

// Mass and balance of an arrow about its nock throat.
struct MassProperties {
  double mass_kg = 0.0;
  double balance_m = 0.0;      // centre of mass from the nock throat
  double inertia_kg_m2 = 0.0;  // about the centre of mass, transverse
  double foc_percent = 0.0;    // 100 (balance - L/2) / L, L to the end of the shaft
};
MassProperties mass_properties(const ArrowBuild& arrow);

// Local section of the shaft at `from_nock_m`.
struct Section {
  double ei_n_m2 = 0.0;
  double mass_per_length_kg_per_m = 0.0;
};
Section section_at(const Shaft& shaft, double from_nock_m);

// Nock to rest at full draw (the rest is taken over the pivot point).
double nock_to_rest_at_full_draw_m(const Archer& archer);

// Length of the power stroke: full draw to brace height.
double power_stroke_m(const Setup& setup);

// Grains of arrow per pound held at the archer's draw.
double grains_per_pound(double arrow_mass_kg, double held_n);

// Kinetic energy in ft lbf and momentum in slug ft/s, the units of the trade's tables.
double energy_ft_lbf(double mass_kg, double speed_mps);
double momentum_slug_fps(double mass_kg, double speed_mps);

}  // namespace nocktrail::arrow
