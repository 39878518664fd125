#include "priors.hpp"

#include <array>
#include <cstddef>

#include "nocktrail/arrow/effects.hpp"
#include "nocktrail/arrow/spine.hpp"

namespace nocktrail::tune {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;

using PerStep = std::array<double, kQuantities>;

// In the order of Quantity: shaft length, tip mass, nocking point, brace height, plate, spine.
constexpr PerStep kLateralSlope{-2.0, -0.5, 0.0, 0.0, 0.6, 2.5};
constexpr PerStep kLateralSlopeSd{1.2, 0.4, 0.05, 0.3, 0.5, 1.5};
constexpr PerStep kVerticalSlope{0.0, 0.0, 0.5, 0.0, 0.0, 0.0};
constexpr PerStep kVerticalSlopeSd{0.3, 0.15, 0.3, 0.2, 0.1, 0.2};
constexpr PerStep kModelLateralSd{0.5, 0.15, 0.05, 0.2, 0.2, 0.5};
constexpr PerStep kModelVerticalSd{0.2, 0.1, 0.12, 0.1, 0.05, 0.1};
constexpr PerStep kBendSteps{1.5, 3.0, 3.0, 2.0, 3.0, 2.0};

}  // namespace

double usual_step(Quantity quantity) {
  switch (quantity) {
    case Quantity::shaft_length:
      return kInch;
    case Quantity::tip_mass:
      return 25.0 * kGrain;
    case Quantity::nocking_point:
      return kInch / 16.0;
    case Quantity::brace_height:
      return kInch / 4.0;
    case Quantity::plate_offset:
      return kInch / 32.0;
    case Quantity::spine:
      break;
  }
  return arrow::ei_from_wood_pounds(5.0);
}

double practice_offset_deg(const Place& place, bool vertical) {
  const PerStep& slope = vertical ? kVerticalSlope : kLateralSlope;
  double sum = 0.0;
  for (std::size_t q = 0; q < kQuantities; ++q) {
    sum += slope[q] * place.at[q];
  }
  return sum;
}

Discrepancy practice_discrepancy(bool vertical) {
  Discrepancy wide;
  wide.level_deg = vertical ? 3.0 : 6.0;
  wide.group_deg = 1.5;
  wide.slope_deg = vertical ? kVerticalSlopeSd : kLateralSlopeSd;
  wide.bend_deg = vertical ? 0.7 : 0.5;
  wide.bend_steps = kBendSteps;
  return wide;
}

Discrepancy model_discrepancy(bool vertical) {
  Discrepancy missed;
  // As the arrow room's own figure for a reading (EffectsOptions::model_error_deg).
  missed.level_deg = arrow::EffectsOptions{}.model_error_deg;
  missed.group_deg = 0.5;
  missed.slope_deg = vertical ? kModelVerticalSd : kModelLateralSd;
  missed.bend_deg = 0.2;
  missed.bend_steps = kBendSteps;
  return missed;
}

AxisRange axis_range(Quantity quantity) {
  switch (quantity) {
    case Quantity::shaft_length:
      return {3.0 * kInch, 0.5 * kInch, 0.125 * kInch, 20.0 * kInch};
    case Quantity::tip_mass:
      return {50.0 * kGrain, 100.0 * kGrain, 5.0 * kGrain, 20.0 * kGrain};
    case Quantity::nocking_point:
      return {0.375 * kInch, 0.25 * kInch, kInch / 32.0, -0.5 * kInch};
    case Quantity::brace_height:
      return {0.5 * kInch, 0.5 * kInch, kInch / 16.0, 4.0 * kInch};
    case Quantity::plate_offset:
      return {kInch / 8.0, kInch / 8.0, kInch / 64.0, -0.5 * kInch};
    case Quantity::spine:
      break;
  }
  const double pound = arrow::ei_from_wood_pounds(1.0);
  return {20.0 * pound, 20.0 * pound, 2.5 * pound, 15.0 * pound};
}

}  // namespace nocktrail::tune
