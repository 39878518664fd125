// How the angle between arrow and path changes along the flight.
//
// Linearised yaw of a finned body (textbook form: McCoy, Modern Exterior Ballistics), alpha the
// incidence, x the distance flown:
//   alpha'' + 2 zeta kappa alpha' + kappa^2 alpha = 0,
//   kappa^2 = rho A C_Na x_s / (2 I),  2 zeta kappa = (rho A / 2) (C_Na / m + C_Na x_s^2 / I),
// plus, for every arrow, the cross-flow drag of the shaft about the centre of mass:
//   - rho d L C_c arm / (2 I) * sin(alpha) |sin(alpha)|,   arm = balance - L/2.
// A bare shaft has the second term alone, and keeps its rate over the first metres.
#pragma once

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

struct FlightAir {
  double density_kg_m3 = 1.2;
  double fin_lift_slope_per_rad = 1.5;  // C_Na on the fletching's effective area
  double crossflow_drag = 1.2;          // C_c of a circular cylinder below the drag crisis
};

struct Weathercock {
  double kappa_per_m = 0.0;
  double damping_ratio = 0.0;
  double crossflow_per_m2 = 0.0;
};

// `tail_arm_m` is the fletching's distance behind the centre of mass.
Weathercock weathercock(double mass_kg, double inertia_kg_m2, double fin_area_m2, double tail_arm_m,
                        const FlightAir& air = {});
// The same from a whole arrow, cross-flow included.
Weathercock weathercock(const ArrowBuild& arrow, const FlightAir& air = {});

// Incidence (nock_right or nock_high, radians) and its change per metre of path.
struct Incidence {
  double angle_rad = 0.0;
  double slope_rad_per_m = 0.0;
};

// After `distance_m` of flight; Runge-Kutta, steps of at most 5 cm.
Incidence fly(const Incidence& start, double distance_m, const Weathercock& air);

}  // namespace nocktrail::arrow
