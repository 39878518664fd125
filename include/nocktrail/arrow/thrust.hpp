// The forward motion of the arrow while the string drives it.
//
// The bow is a force-draw curve and a virtual mass, with x the draw remaining (stroke s at the
// loose, 0 at brace height) and u = x / s:
//   F(x) = F0 u (1 + c (1 - u)^2)
//   m(x) = m_arrow + m_virtual + m_limb u^2
//   m x'' + m'(x) x'^2 / 2 = -efficiency F(x)          (Lagrange's equation)
// m_limb is the mass of the limb tips as the nock feels it. The tips hardly move while the string
// is nearly straight, so what they took up early they give back through the string late: the
// thrust is weaker at the loose and stronger near brace height than the force-draw curve says
// (the string must stop the limbs; Hickman 1937, Klopsteg 1943 in principle).
// c is how much steeper the curve starts than it ends: the string of a braced bow is already tight.
// c = 0, m_limb = 0, efficiency = 1 is the linear bow, whose speed and time are known in closed
// form: v = sqrt(F0 s / m), t = pi/2 sqrt(m s / F0). Lateral motion takes so little of the energy
// that it is left out here (the audit in docs/arrow-model.md).
#pragma once

#include <vector>

namespace nocktrail::arrow {

struct ThrustInput {
  double full_draw_force_n = 0.0;  // F0
  double stroke_m = 0.0;           // s
  double early_weight = 0.0;       // c, 0 for a straight line
  double efficiency = 1.0;         // share of F that is left after friction in string and limbs
  double arrow_mass_kg = 0.0;
  double virtual_mass_kg =
      0.0;                    // rides with the nock all the way: string, and what never comes back
  double limb_mass_kg = 0.0;  // limb tips as felt at the nock at full draw
};

// F(x) in newtons, x = draw remaining.
double draw_force_n(const ThrustInput& input, double remaining_m);

// The force at another draw of the same bow: along the curve through (stroke, F0) up to that point,
// on along its tangent beyond.
double draw_force_at_n(double rated_force_n, double rated_stroke_m, double stroke_m,
                       double early_weight);

// Samples at even steps from the loose to the exit; n steps have n + 1 ends and n middles.
struct ThrustHistory {
  double step_s = 0.0;
  double exit_s = 0.0;
  double exit_speed_mps = 0.0;
  std::vector<double> travel_m;  // nock, at the ends of the steps
  std::vector<double> mid_travel_m;
  std::vector<double> mid_acceleration_mps2;
};

// Fourth-order Runge-Kutta; the step is shortened so that the exit falls on a step's end.
ThrustHistory thrust_history(const ThrustInput& input, double step_s);

}  // namespace nocktrail::arrow
