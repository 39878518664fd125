#include "nocktrail/flight/model.hpp"

namespace nocktrail::flight {

double bending_shape(double s) {
  // w = (cosh + cos)/2 + b sinh + d sin of beta s; b and d from the two end conditions
  // w'''(0) = beta^4 r0 w(0) and w''(1) = 0 (unit length, r0 = nock mass / shaft mass).
  constexpr double kBeta = 4.1438;
  constexpr double kNockMassRatio = 0.03;
  static const std::array<double, 2> kCoefficients = [] {
    const double difference = kBeta * kNockMassRatio;  // b - d, with w(0) = 1
    const double sinh_l = std::sinh(kBeta);
    const double sin_l = std::sin(kBeta);
    const double rest = (std::cosh(kBeta) - std::cos(kBeta)) / 2.0;
    // rest + b sinh - d sin = 0 with d = b - difference
    const double b = (-rest - difference * sin_l) / (sinh_l - sin_l);
    return std::array<double, 2>{b, b - difference};
  }();
  const double x = kBeta * s;
  return (std::cosh(x) + std::cos(x)) / 2.0 + kCoefficients[0] * std::sinh(x) +
         kCoefficients[1] * std::sin(x);
}

}  // namespace nocktrail::flight
