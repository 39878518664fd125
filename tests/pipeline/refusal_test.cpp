// From an analysed loose to a shot: what each kind of doubt does to a flight that is good
// otherwise.
#include <doctest/doctest.h>

#include <Eigen/Core>
#include <cmath>
#include <functional>
#include <string>

#include "example_flight.hpp"
#include "nocktrail/flight/headline.hpp"
#include "shot_from_analysis.hpp"

using namespace nocktrail;

namespace {

constexpr double kFrame_s = 1.0 / 240.0;
constexpr int kFrames = 20;

// A flight whose covariance is small, with both ends seen in every frame.
pipeline::ShotAnalysis a_good_analysis() {
  using namespace flight;
  pipeline::ShotAnalysis analysis;
  analysis.outcome = pipeline::Outcome::measured;
  FlightFit& fit = analysis.fit;
  fit = test::example_flight(0.05);
  fit.anchor_s = 0.055;
  fit.covariance = 1e-6 * Eigen::MatrixXd::Identity(kParameters, kParameters);
  fit.frames = kFrames;
  fit.centre_points = 5 * kFrames;
  fit.ends = 2 * kFrames;
  fit.cost = 0.5 * (fit.centre_points + fit.ends);
  for (int k = 0; k < kFrames; ++k) {
    const double t = 0.01 + k * kFrame_s;
    track::ArrowSighting sighting;
    sighting.frame = k;
    sighting.t_s = t;
    sighting.shown = 0.9;
    sighting.nock = track::EndPoint{seen_px(fit, t, 0.0), 1.0, false};
    sighting.tip = track::EndPoint{seen_px(fit, t, 1.0), 1.0, false};
    analysis.sightings.push_back(sighting);
    analysis.frame_index.push_back(k);
    analysis.frame_t_s.push_back(t);
  }
  analysis.steadied.motion.resize(kFrames);
  analysis.steadied.reference = 0;
  Stroke stroke;
  stroke.loose_s = -0.006;
  stroke.exit_s = 0.008;
  stroke.exit_sigma_s = 0.001;
  stroke.rest_forward_m =
      nock_forward_m(fit.parameters, fit.principal_px, stroke.exit_s - fit.anchor_s) +
      kBraceHeightM;
  stroke.rest_sigma_m = 0.05;
  stroke.seen = true;
  analysis.stroke = stroke;
  return analysis;
}

struct Doubt {
  std::string name;
  std::function<void(pipeline::ShotAnalysis&)> bring;
  std::string says;
};

}  // namespace

TEST_CASE("unit: a good flight is measured") {
  const Shot shot = pipeline::shot_from(a_good_analysis(), {});
  CHECK(shot.status == ShotStatus::measured);
  CHECK(shot.reason.empty());
}

TEST_CASE("unit: each doubt alone refuses the shot and says why") {
  constexpr double kDeg = 0.0174533;  // rad
  const std::vector<Doubt> doubts{
      {"ends that fly apart", [](auto& a) { a.fit.end_scale = 2.0; }, "ends of the arrow"},
      {"a line that is not an arrow's", [](auto& a) { a.fit.centre_scale = 4.0; }, "one arrow"},
      {"many strays", [](auto& a) { a.fit.cost *= 2.5; }, "lie off the flight"},
      {"answers that wander", [&](auto& a) { a.scatter.right_rad = 0.4 * kDeg; }, "settle"},
      {"two thirds of the frames that make no flight", [](auto& a) { a.thirds_lost = 1; },
       "two thirds of its frames"},
      {"a loose after the surge", [](auto& a) { a.surge_s = -0.02; }, "come to rest"},
      {"little of the shaft shows",
       [](auto& a) {
         for (auto& sighting : a.sightings) {
           sighting.shown = 0.3;
         }
       },
       "% of the shaft's length stands out from the ground"},
      {"only vanes show",
       [](auto& a) {
         for (auto& sighting : a.sightings) {
           sighting.shown = 0.55;
           sighting.front_shown = 0.4;
         }
       },
       "front half"},
      {"points seldom seen",
       [](auto& a) {
         for (std::size_t k = 4; k < a.sightings.size(); ++k) {
           a.sightings[k].tip.reset();
         }
       },
       "both ends"},
      {"an arrow across its flight",
       [&](auto& a) { a.fit.parameters[flight::kRight] = 25.0 * kDeg; }, "across its flight"},
      {"up and down open",
       [](auto& a) { a.fit.covariance(flight::kHigh, flight::kHigh) = 0.08 * 0.08; },
       "up and down"},
      {"sideways open",
       [](auto& a) { a.fit.covariance(flight::kRight, flight::kRight) = 0.02 * 0.02; },
       "sideways offset"},
      {"a slow arrow", [](auto& a) { a.fit.parameters[flight::kLogSpeed] = std::log(15.0); },
       "m/s"}};
  for (const Doubt& doubt : doubts) {
    CAPTURE(doubt.name);
    pipeline::ShotAnalysis analysis = a_good_analysis();
    doubt.bring(analysis);
    const Shot shot = pipeline::shot_from(analysis, {});
    CHECK(shot.status == ShotStatus::refused);
    CHECK_MESSAGE(shot.reason.find(doubt.says) != std::string::npos, shot.reason);
    CHECK_FALSE(shot.nock_right_deg.has_value());
    CHECK_FALSE(shot.reason.find("; also") != std::string::npos);
  }
}

TEST_CASE("unit: all that speaks against a shot is said, what it is before what it says") {
  pipeline::ShotAnalysis analysis = a_good_analysis();
  analysis.fit.end_scale = 2.0;
  analysis.fit.cost *= 2.5;
  // Of what is no arrow the speed means nothing.
  analysis.fit.parameters[flight::kLogSpeed] = std::log(15.0);
  const std::string reason = pipeline::shot_from(analysis, {}).reason;
  CAPTURE(reason);
  CHECK(reason.find("ends of the arrow") < reason.find("; also too many sightings lie off"));
  CHECK(reason.find("; also too many sightings lie off") != std::string::npos);
  CHECK(reason.find("m/s") == std::string::npos);
  CHECK(reason.find('\n') == std::string::npos);

  analysis = a_good_analysis();
  analysis.fit.parameters[flight::kLogSpeed] = std::log(15.0);
  analysis.scatter.right_rad = 0.01;
  const std::string figures = pipeline::shot_from(analysis, {}).reason;
  CAPTURE(figures);
  CHECK(figures.find("m/s") < figures.find("settle"));
  CHECK(figures.find("settle") != std::string::npos);
}

TEST_CASE("unit: how far parts of the frames are apart widens what is said") {
  const Shot before = pipeline::shot_from(a_good_analysis(), {});
  pipeline::ShotAnalysis analysis = a_good_analysis();
  analysis.apart = {0.002, 0.004, 1.5};
  const Shot after = pipeline::shot_from(analysis, {});
  REQUIRE(after.status == ShotStatus::measured);
  const auto check = [](const Measured& narrow, const Measured& wide, double sigma) {
    CHECK(wide.value == narrow.value);
    CHECK(wide.u95 == doctest::Approx(std::hypot(narrow.u95, 1.96 * sigma)).epsilon(1e-4));
  };
  constexpr double kDegPerRad = 57.29578;
  check(*before.nock_right_deg, *after.nock_right_deg, 0.002 * kDegPerRad);
  check(*before.nock_high_deg, *after.nock_high_deg, 0.004 * kDegPerRad);
  check(*before.speed_mps, *after.speed_mps, 1.5);
}

TEST_CASE("unit: a figure that is no number keeps no limit") {
  pipeline::ShotAnalysis analysis = a_good_analysis();
  analysis.fit.covariance(flight::kRight, flight::kRight) = std::nan("");
  CHECK(pipeline::shot_from(analysis, {}).status == ShotStatus::refused);
}

TEST_CASE("unit: a limb before the flight is named as the cause, with where to move the phone") {
  pipeline::ShotAnalysis upright = a_good_analysis();
  const auto with_limb = [](pipeline::ShotAnalysis analysis, double cant_rad, double across_m) {
    bow::SeenLimb limb;
    limb.shape = {cant_rad, across_m, 0.0, -0.1, 0.0};
    limb.edges.resize(2);
    limb.edges.front().up_m = 0.15;
    limb.edges.back().up_m = 0.7;
    analysis.limb = limb;
    return analysis;
  };
  // A good flight is measured whatever stands there.
  CHECK(pipeline::shot_from(with_limb(upright, 0.0, 0.0), {}).status == ShotStatus::measured);
  pipeline::ShotAnalysis poor = upright;
  poor.fit.end_scale = 2.0;
  // The camera is above the arrow: an upright limb stands in the plane of the flight. Its middle is
  // on the arrow's right, so the arrow shows on the left of it, and there the phone must go.
  const std::string behind = pipeline::shot_from(with_limb(poor, 0.0, 0.01), {}).reason;
  CAPTURE(behind);
  CHECK(behind.find("the upper limb of the bow stands before") != std::string::npos);
  CHECK(behind.find("to the left") != std::string::npos);
  CHECK(behind.find("ends of the arrow") != std::string::npos);
  const std::string other = pipeline::shot_from(with_limb(poor, 0.0, -0.02), {}).reason;
  CHECK(other.find("to the right") != std::string::npos);
  // A canted one leans out of the way.
  const std::string canted = pipeline::shot_from(with_limb(poor, 0.5, 0.0), {}).reason;
  CHECK(canted.find("upper limb") == std::string::npos);
}
