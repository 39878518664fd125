// Static stiffness of a shaft and the conventions in which the trade writes it.
//
// Every convention is the same three-point test: a shaft on two supports a span S apart, a load W
// at the middle, deflection delta = W S^3 / (48 EI) (Roark's Formulas for Stress and Strain; any
// text on beams). They differ in span and load only:
//   ASTM F2031: S = 28 in, W = 1.94 lb, the value is delta in inches;
//   wooden shafts: S = 26 in, W = 2 lb (Nagler & Rheingans, 1947), pounds = 26 / delta in inches.
// "Pounds" of a wooden shaft are therefore stiffness, not a match to a bow of that weight.
#pragma once

namespace nocktrail::arrow {

// EI in N m^2 from the deflection of the ASTM F2031 test, in inches.
double ei_from_astm_deflection(double deflection_in);
double astm_deflection_in(double ei_n_m2);

// EI in N m^2 from the pounds of a wooden shaft (26 in over the deflection under 2 lb).
double ei_from_wood_pounds(double pounds);
double wood_pounds(double ei_n_m2);
// Deflection in inches over 26 in under 2 lb.
double wood_deflection_in(double ei_n_m2);

// EI of a round tube; `wall_m` of half the outer diameter or more is a solid rod.
double ei_of_tube(double youngs_modulus_pa, double outer_diameter_m, double wall_m);

// AMO draw length (AMO Standards FP-3, 2000): nocking point to pivot point at full draw, plus
// 1 3/4 in.
double amo_draw_m(double nock_to_pivot_m);
double nock_to_pivot_m(double amo_draw_m);

}  // namespace nocktrail::arrow
