#include "nocktrail/arrow/spine.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "nocktrail/units/units.hpp"

namespace nocktrail::arrow {
namespace {

struct ThreePointTest {
  double span_in;
  double load_lb;
};
constexpr ThreePointTest kAstm{28.0, 1.94};
constexpr ThreePointTest kWood{26.0, 2.0};
constexpr double kAmoOffset_m = 1.75 * units::kMetresPerInch;

// EI times the deflection in inches: symmetric, so it serves both ways.
constexpr double ei_times_deflection(ThreePointTest test) {
  const double span_m = test.span_in * units::kMetresPerInch;
  const double load_n = test.load_lb * units::kNewtonsPerPoundForce;
  return load_n * span_m * span_m * span_m / (48.0 * units::kMetresPerInch);
}

}  // namespace

double ei_from_astm_deflection(double deflection_in) {
  return ei_times_deflection(kAstm) / deflection_in;
}

double astm_deflection_in(double ei_n_m2) {
  return ei_times_deflection(kAstm) / ei_n_m2;
}

double ei_from_wood_pounds(double pounds) {
  return ei_times_deflection(kWood) * pounds / kWood.span_in;
}

double wood_pounds(double ei_n_m2) {
  return kWood.span_in / wood_deflection_in(ei_n_m2);
}

double wood_deflection_in(double ei_n_m2) {
  return ei_times_deflection(kWood) / ei_n_m2;
}

double ei_of_tube(double youngs_modulus_pa, double outer_diameter_m, double wall_m) {
  const double inner_m = std::max(0.0, outer_diameter_m - 2.0 * wall_m);
  return youngs_modulus_pa * std::numbers::pi / 64.0 *
         (std::pow(outer_diameter_m, 4) - std::pow(inner_m, 4));
}

double amo_draw_m(double nock_to_pivot_m) {
  return nock_to_pivot_m + kAmoOffset_m;
}

double nock_to_pivot_m(double amo_draw_m) {
  return amo_draw_m - kAmoOffset_m;
}

}  // namespace nocktrail::arrow
