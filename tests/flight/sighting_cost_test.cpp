// The residuals' gradient, half of it by hand, against central differences, as Ceres Solver has
// them.
#include "sighting_cost.hpp"

#include <ceres/numeric_diff_cost_function.h>
#include <doctest/doctest.h>

#include <Eigen/Core>
#include <array>
#include <cmath>

using namespace nocktrail;

namespace {

// Values only, as Ceres differentiates them.
struct Values {
  const flight::SightingCost* cost;
  bool operator()(const double* p, const double* jitter, double* residuals) const {
    const std::array<const double*, 2> both{p, jitter};
    return cost->Evaluate(both.data(), residuals, nullptr);
  }
};

flight::Parameters flight_of_a_kind() {
  using namespace flight;
  Parameters p = Parameters::Zero();
  p[kVanishX] = 930.0;
  p[kVanishY] = 500.0;
  p[kRoll] = 0.03;
  p[kCentreX] = 960.0;
  p[kCentreY] = 730.0;
  p[kLogDepth] = std::log(3.6);
  p[kLogSpeed] = std::log(52.0);
  p[kLogLength] = std::log(0.76);
  p[kLogFocal] = std::log(1375.0);
  p[kReadout] = 0.002;
  p[kLogWave] = std::log(14.0);
  p[kDamping] = 0.1;
  p[kRight] = 0.05;
  p[kRightRate] = -0.01;
  p[kHigh] = -0.03;
  p[kHighRate] = 0.012;
  p[kLift] = 0.06;
  p[kDrag] = 3.0;
  p[kFlexRightCos] = 0.008;
  p[kFlexRightSin] = -0.004;
  p[kFlexDownCos] = 0.003;
  p[kFlexDownSin] = 0.002;
  p[kFlexHz] = 71.0;
  p[kFlexDecay] = 9.0;
  p[kNockEnd] = -0.01;
  p[kTipEnd] = 0.004;
  p[kRearDrop] = 0.002;
  p[kNockPx] = 0.3;
  p[kTipPx] = -0.2;
  p[kMiddle] = -0.03;
  p[kSwayRight] = 0.2;
  p[kSwayDown] = -0.3;
  p[kTipMass] = 0.43;
  return p;
}

}  // namespace

TEST_CASE("the gradient of every kind of sighting is that of its residual") {
  using flight::Part;
  constexpr int kPoints = 6;
  const Eigen::Vector2d across = Eigen::Vector2d(1.0, 0.3).normalized();
  const Eigen::Vector2d along(-across.y(), across.x());
  const Eigen::Vector2d principal(959.5, 539.5);
  // Far enough off that the robust shaping tells, on both sides of those that may be hidden.
  const std::vector<flight::Point> points{
      {{955, 700}, across, 0.3, 0.2, Part::centre, 0.04, false},
      {{962, 640}, across, 0.3, 0.8, Part::centre, -0.02, false},
      {{960, 800}, along, 30.0, 0.0, Part::nock, 0.06, false},
      {{960, 660}, along, 30.0, 1.0, Part::tip, -0.05, true},
      {{960, 790}, -along, 30.0, 0.0, Part::nock, 0.06, true},
      {{958, 720}, along, 20.0, 0.5, Part::middle, 0.01, false}};
  const flight::SightingCost cost(points, 0.017, 0.03, principal, 2.0);
  const flight::Parameters p = flight_of_a_kind();
  const Eigen::Vector2d jitter(0.05, -0.03);
  const std::array<const double*, 2> parameters{p.data(), jitter.data()};

  using Rows = Eigen::Matrix<double, kPoints, flight::kParameters, Eigen::RowMajor>;
  using Pairs = Eigen::Matrix<double, kPoints, 2, Eigen::RowMajor>;
  Eigen::Matrix<double, kPoints, 1> values;
  Rows by_hand;
  Pairs by_hand_jitter;
  std::array<double*, 2> jacobians{by_hand.data(), by_hand_jitter.data()};
  REQUIRE(cost.Evaluate(parameters.data(), values.data(), jacobians.data()));

  Rows numeric;
  Pairs numeric_jitter;
  jacobians = {numeric.data(), numeric_jitter.data()};
  ceres::NumericDiffCostFunction<Values, ceres::CENTRAL, kPoints, flight::kParameters, 2> reference(
      new Values{&cost});
  REQUIRE(reference.Evaluate(parameters.data(), values.data(), jacobians.data()));
  for (int row = 0; row < kPoints; ++row) {
    CAPTURE(row);
    for (int i = 0; i < flight::kParameters; ++i) {
      CAPTURE(i);
      CHECK(by_hand(row, i) == doctest::Approx(numeric(row, i))
                                   .epsilon(1e-4)
                                   .scale(1e-3 + by_hand.col(i).cwiseAbs().maxCoeff()));
    }
    for (int i = 0; i < 2; ++i) {
      CHECK(by_hand_jitter(row, i) == doctest::Approx(numeric_jitter(row, i)).epsilon(1e-4));
    }
  }
}
