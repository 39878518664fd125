#include "nocktrail/arrow/free_flight.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::arrow {

Weathercock weathercock(double mass_kg, double inertia_kg_m2, double fin_area_m2, double tail_arm_m,
                        const FlightAir& air) {
  const double lift = air.density_kg_m3 * fin_area_m2 * air.fin_lift_slope_per_rad;
  Weathercock result;
  if (lift <= 0.0 || tail_arm_m <= 0.0) {
    return result;
  }
  result.kappa_per_m = std::sqrt(lift * tail_arm_m / (2.0 * inertia_kg_m2));
  const double twice_zeta_kappa =
      0.5 * lift * (1.0 / mass_kg + tail_arm_m * tail_arm_m / inertia_kg_m2);
  result.damping_ratio = twice_zeta_kappa / (2.0 * result.kappa_per_m);
  return result;
}

Weathercock weathercock(const ArrowBuild& arrow, const FlightAir& air) {
  const MassProperties mass = mass_properties(arrow);
  Weathercock result = weathercock(mass.mass_kg, mass.inertia_kg_m2, arrow.fletching_area_m2,
                                   mass.balance_m - arrow.fletching_from_nock_m, air);
  const double arm = mass.balance_m - 0.5 * arrow.shaft.length_m;
  result.crossflow_per_m2 = air.density_kg_m3 * arrow.shaft.diameter_m * arrow.shaft.length_m *
                            air.crossflow_drag * arm / (2.0 * mass.inertia_kg_m2);
  return result;
}

Incidence fly(const Incidence& start, double distance_m, const Weathercock& air) {
  const auto bend = [&](const Incidence& at) {
    const double sine = std::sin(at.angle_rad);
    return -2.0 * air.damping_ratio * air.kappa_per_m * at.slope_rad_per_m -
           air.kappa_per_m * air.kappa_per_m * at.angle_rad -
           air.crossflow_per_m2 * sine * std::abs(sine);
  };
  const int steps = std::max(1, static_cast<int>(std::ceil(distance_m / 0.05)));
  const double h = distance_m / steps;
  Incidence at = start;
  for (int i = 0; i < steps; ++i) {
    const auto moved = [&](double slope, double curve, double by) {
      return Incidence{at.angle_rad + by * slope, at.slope_rad_per_m + by * curve};
    };
    const Incidence s1 = at;
    const double c1 = bend(s1);
    const Incidence s2 = moved(s1.slope_rad_per_m, c1, 0.5 * h);
    const double c2 = bend(s2);
    const Incidence s3 = moved(s2.slope_rad_per_m, c2, 0.5 * h);
    const double c3 = bend(s3);
    const Incidence s4 = moved(s3.slope_rad_per_m, c3, h);
    const double c4 = bend(s4);
    at.angle_rad += h / 6.0 *
                    (s1.slope_rad_per_m + 2.0 * s2.slope_rad_per_m + 2.0 * s3.slope_rad_per_m +
                     s4.slope_rad_per_m);
    at.slope_rad_per_m += h / 6.0 * (c1 + 2.0 * c2 + 2.0 * c3 + c4);
  }
  return at;
}

}  // namespace nocktrail::arrow
