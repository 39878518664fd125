#include "beam.hpp"

#include <cmath>

namespace clipmaker {
namespace {

// The two conditions at the far end as a 2x2 matrix acting on (c1, c2), after
// c3 = c2 + 2 beta m0 c1 from the shear condition at the nock.
struct EndConditions {
  double moment_c1, moment_c2, shear_c1, shear_c2;
  double determinant() const { return moment_c1 * shear_c2 - moment_c2 * shear_c1; }
};

EndConditions end_conditions(double b, double m0, double ml) {
  const double c = std::cos(b);
  const double s = std::sin(b);
  const double ch = std::cosh(b);
  const double sh = std::sinh(b);
  const double k = 2.0 * b * m0;
  EndConditions e{};
  // w''/b^2 = c1 (-cos + cosh) - c2 sin + c3 sinh
  e.moment_c1 = -c + ch + k * sh;
  e.moment_c2 = -s + sh;
  // w'''/b^3 + b ml w = 0, w'''/b^3 = c1 (sin + sinh) - c2 cos + c3 cosh
  e.shear_c1 = s + sh + k * ch + b * ml * (c + ch + k * sh);
  e.shear_c2 = -c + ch + b * ml * (s + sh);
  // Divided by cosh^2 the determinant keeps a moderate size.
  return {e.moment_c1 / ch, e.moment_c2 / ch, e.shear_c1 / ch, e.shear_c2 / ch};
}

}  // namespace

BeamMode::BeamMode(double nock_ratio, double tip_ratio, int mode)
    : nock_ratio_(nock_ratio), tip_ratio_(tip_ratio) {
  // Mode 1 lies between pi (both end masses endless: pinned-pinned) and the plain free-free 4.7300,
  // mode 2 between 2 pi and 7.8532.
  const double from = mode == 1 ? 2.5 : 6.0;
  const double to = mode == 1 ? 4.75 : 7.87;
  double low = from;
  double high = to;
  // Step up from below to bracket the first root.
  const int steps = 400;
  double previous = end_conditions(low, nock_ratio, tip_ratio).determinant();
  for (int i = 1; i <= steps; ++i) {
    const double b = from + (to - from) * i / steps;
    const double value = end_conditions(b, nock_ratio, tip_ratio).determinant();
    if (previous * value <= 0.0) {
      high = b;
      low = b - (to - from) / steps;
      break;
    }
    previous = value;
  }
  const bool low_negative = end_conditions(low, nock_ratio, tip_ratio).determinant() < 0.0;
  for (int i = 0; i < 80; ++i) {
    const double middle = 0.5 * (low + high);
    const bool negative = end_conditions(middle, nock_ratio, tip_ratio).determinant() < 0.0;
    (negative == low_negative ? low : high) = middle;
  }
  beta_ = 0.5 * (low + high);
  const EndConditions e = end_conditions(beta_, nock_ratio, tip_ratio);
  c1_ = 1.0;
  c2_ = -e.moment_c1 / e.moment_c2;
  c3_ = c2_ + 2.0 * beta_ * nock_ratio * c1_;
  const double at_nock = 2.0 * c1_;
  c1_ /= at_nock;
  c2_ /= at_nock;
  c3_ /= at_nock;
  centre_of_mass_ = (0.5 + tip_ratio) / (1.0 + nock_ratio + tip_ratio);
}

double BeamMode::shape(double s) const {
  const double x = beta_ * s;
  return c1_ * (std::cos(x) + std::cosh(x)) + c2_ * std::sin(x) + c3_ * std::sinh(x);
}

}  // namespace clipmaker
