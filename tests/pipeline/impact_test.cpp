// The speed from slap and thud: which sounds are taken for them, and when nothing is claimed.
#include "impact.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

#include "nocktrail/flight/model.hpp"

using namespace nocktrail;
using pipeline::flown_to_butt;
using pipeline::heard_in_the_air_s;

namespace {

constexpr double kButt_m = 15.0;
constexpr double kLength_m = 0.76;
constexpr double kSound_mps = 343.0;  // dry air of 20 degrees C (ISO 9613-1)

// A flight at 50 m/s, believed to be within 6 %.
flight::FlightFit fit() {
  flight::FlightFit fit;
  fit.parameters[flight::kLogSpeed] = std::log(50.0);
  fit.parameters[flight::kLogLength] = std::log(kLength_m);
  fit.covariance = Eigen::MatrixXd::Zero(flight::kParameters, flight::kParameters);
  fit.covariance(flight::kLogSpeed, flight::kLogSpeed) = 0.06 * 0.06;
  return fit;
}

flight::Stroke stroke() {
  flight::Stroke stroke;
  stroke.exit_s = 1.0;
  return stroke;
}

// What the phone hears of an arrow of a speed, its sound late by so much.
struct Heard {
  double slap_s;
  double thud_s;
};
Heard heard(double speed_mps, double late_s) {
  // At the exit the point is one length, less a brace height, past the rest.
  const double air_s = (kButt_m - (kLength_m - flight::kBraceHeightM)) / speed_mps;
  const double behind_m = 1.5;
  return {1.0 + late_s + behind_m / kSound_mps,
          1.0 + late_s + air_s + (kButt_m + behind_m) / kSound_mps};
}

}  // namespace

TEST_CASE("unit: the time in the air comes from two sounds, however late the sound is") {
  for (const double speed : {45.0, 50.0, 55.0}) {
    for (const double late_s : {-0.05, 0.0, 0.05}) {
      const Heard shot = heard(speed, late_s);
      const auto air =
          heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.slap_s, shot.thud_s}, {}});
      REQUIRE(air);
      CHECK((kButt_m - (kLength_m - flight::kBraceHeightM)) / *air ==
            doctest::Approx(speed).epsilon(0.001));
    }
  }
}

TEST_CASE(
    "unit: nothing is claimed without slap or thud, of two that could be it, or of another speed") {
  const Heard shot = heard(50.0, 0.0);
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m, {{}, {}}));
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.slap_s}, {}}));
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.thud_s}, {}}));
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m,
                                 {{shot.slap_s, shot.thud_s, shot.thud_s + 0.02}, {}}));
  // Told 12 m where it stands at 15: at the speed that the pictures show no sound fits.
  CHECK_FALSE(
      heard_in_the_air_s(fit(), stroke(), 0.75 * kButt_m, {{shot.slap_s, shot.thud_s}, {}}));
  // A thud may be dull, a slap is sharp.
  CHECK(heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.slap_s}, {shot.thud_s}}));
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.thud_s}, {shot.slap_s}}));
  CHECK_FALSE(heard_in_the_air_s(fit(), stroke(), kButt_m,
                                 {{shot.slap_s, shot.thud_s}, {shot.thud_s + 0.02}}));
  // Somebody claps a second later.
  CHECK(heard_in_the_air_s(fit(), stroke(), kButt_m, {{shot.slap_s, shot.thud_s, 2.5}, {}}));
}

TEST_CASE("unit: what the fit is told of the way is as uncertain as distance and times") {
  const flight::Flown flown = flown_to_butt(fit(), stroke(), kButt_m, 0.3);
  CHECK(flown.from_s == doctest::Approx(1.0));
  CHECK(flown.to_s == doctest::Approx(1.3));
  CHECK(flown.metres == doctest::Approx(kButt_m + flight::kBraceHeightM));
  // 1 % of 15 m, a hand's breadth of brace height, 4 ms at 50 m/s: 0.25 m of 14.4, under 2 %.
  CHECK(flown.sigma_m == doctest::Approx(std::sqrt(0.15 * 0.15 + 0.015 * 0.015 + 0.2 * 0.2)));
}
