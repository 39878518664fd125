#include "nocktrail/flight/model.hpp"

namespace nocktrail::flight {
namespace {

// w = (cosh + cos)/2 + b sinh + d sin of beta s, with w(0) = 1 and no moment at the nock built in;
// b - d from the nock's mass (shear there), b and d from the free moment at the tip, beta from the
// tip's mass (shear there).
struct Mode {
  double beta = 0.0;
  double b = 0.0;
  double d = 0.0;

  double shape(double s) const {
    const double x = beta * s;
    return (std::cosh(x) + std::cos(x)) / 2.0 + b * std::sinh(x) + d * std::sin(x);
  }
  double third_derivative_at_tip() const {  // over beta^3
    return (std::sinh(beta) + std::sin(beta)) / 2.0 + b * std::cosh(beta) - d * std::cos(beta);
  }
};

Mode with_beta(double beta) {
  const double difference = beta * kNockMassRatio;  // b - d
  const double rest = (std::cosh(beta) - std::cos(beta)) / 2.0;
  // rest + b sinh - d sin = 0 with d = b - difference
  const double b = (-rest - difference * std::sin(beta)) / (std::sinh(beta) - std::sin(beta));
  return {beta, b, b - difference};
}

Mode first_mode(double tip_mass_ratio) {
  const auto imbalance = [&](double beta) {
    const Mode mode = with_beta(beta);
    return mode.third_derivative_at_tip() + beta * tip_mass_ratio * mode.shape(1.0);
  };
  // The first root lies between that of a very heavy tip and 4.7300 of none.
  double low = 3.7;
  double high = 4.75;
  const double sign = imbalance(low);
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (imbalance(middle) * sign > 0.0 ? low : high) = middle;
  }
  return with_beta(0.5 * (low + high));
}

}  // namespace

double bending_shape(double s, double tip_mass_ratio) {
  return first_mode(tip_mass_ratio).shape(s);
}

ShapeAt shape_at(double s, double tip_mass_ratio) {
  constexpr double kRatioStep = 0.05;
  constexpr int kRatioSteps = 24;
  static const std::array<Mode, kRatioSteps> kModes = [] {
    std::array<Mode, kRatioSteps> modes{};
    for (int i = 0; i < kRatioSteps; ++i) {
      modes[static_cast<std::size_t>(i)] = first_mode(i * kRatioStep);
    }
    return modes;
  }();
  const double place = tip_mass_ratio / kRatioStep;
  const int step = std::clamp(static_cast<int>(place), 0, kRatioSteps - 2);
  const double low = kModes[static_cast<std::size_t>(step)].shape(s);
  const double high = kModes[static_cast<std::size_t>(step) + 1].shape(s);
  return {low + (place - step) * (high - low), (high - low) / kRatioStep};
}

}  // namespace nocktrail::flight
