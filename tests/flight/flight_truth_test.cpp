// The flight fit as an estimator: flights made by an independent simulation (yaw equation
// integrated step by step, projected by OpenCV's cv::projectPoints), observed with noise, fitted.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <Eigen/Dense>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <opencv2/calib3d.hpp>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/headline.hpp"
#include "nocktrail/units/units.hpp"

using namespace nocktrail;

namespace {

constexpr double kFocal = 1375.0;
constexpr double kFrame = 1.0 / 240.0;
constexpr double kButt_m = 6.0;  // near, so that a short simulation reaches it

struct Draws {
  boost::random::mt19937_64 engine;
  double uniform(double a, double b) {
    return boost::random::uniform_real_distribution<double>(a, b)(engine);
  }
  double normal(double sigma) {
    return boost::random::normal_distribution<double>(0.0, sigma)(engine);
  }
};

struct Truth {
  double right_deg = 0.0;  // at Z(nock) = 2 m
  double high_deg = 0.0;
};

struct Scene {
  std::vector<track::ArrowSighting> sightings;
  Truth truth;
  double impact_s = 0.0;  // the point is at kButt_m past the rest
  double rest_forward_m = 0.0;
};

// Simulates in the range frame (X right, Y down, Z downrange, origin at the rest), camera level
// but for a roll. With `far`, the arrow is followed on as a speck when it has become too short.
Scene simulate(Draws& draws, double roll_sigma_rad, double flex_m, bool far = false) {
  const bool fletched = draws.uniform(0, 1) < 0.6;
  const double wave = fletched ? draws.uniform(10, 22) : draws.uniform(28, 80);
  const double zeta = draws.uniform(0.05, 0.15);
  const double kappa = 2 * M_PI / wave;
  const double speed = draws.uniform(42, 65);
  const double length = draws.uniform(0.70, 0.80);
  const double tip_mass = draws.uniform(0.2, 0.65);
  const double balance = (0.5 + tip_mass) / (1.03 + tip_mass);
  const Eigen::Vector3d camera(draws.uniform(-0.16, 0.16), -draws.uniform(0.4, 0.7),
                               -draws.uniform(1.2, 1.7));
  const double roll = draws.normal(roll_sigma_rad);
  double right = units::rad_from_deg(draws.uniform(-4, 4));
  double high = units::rad_from_deg(draws.uniform(-3, 3));
  double right_rate = draws.uniform(-1, 1) * 0.03;
  double high_rate = draws.uniform(-1, 1) * 0.03;
  const double flex_hz = draws.uniform(60, 85);
  const double flex_phase = draws.uniform(0, 6.28);
  // Start: nock 0.17 m behind the rest.
  Eigen::Vector3d position(0, 0, -0.17 + balance * length);
  Eigen::Vector3d velocity(0, draws.uniform(-0.03, 0.03) * speed, speed);
  Scene scene;
  const double dt = 1e-5;
  const double phase = draws.uniform(0, kFrame);
  double next = phase;
  bool passed = false;
  const cv::Matx33d intrinsics(kFocal, 0, 959.5, 0, kFocal, 539.5, 0, 0, 1);
  const cv::Vec3d rotation(0, 0, -roll);  // camera_from_range
  for (double t = 0; t < (far ? 0.18 : 0.115); t += dt) {
    // Offsets relative to the velocity give the axis.
    const double az = std::atan2(velocity.x(), velocity.z()) - right;
    const double el = std::atan2(-velocity.y(), std::hypot(velocity.x(), velocity.z())) - high;
    const Eigen::Vector3d axis(std::sin(az) * std::cos(el), -std::sin(el),
                               std::cos(az) * std::cos(el));
    const Eigen::Vector3d nock = position - axis * balance * length;
    if (!passed && nock.z() >= 2.0) {
      passed = true;
      scene.truth = {units::deg_from_rad(right), units::deg_from_rad(high)};
    }
    if (scene.impact_s == 0.0 && (nock + axis * length).z() >= kButt_m) {
      scene.impact_s = t;
    }
    if (t >= next) {
      next += kFrame;
      const double bend = flex_m * std::exp(-8 * t) * std::cos(2 * M_PI * flex_hz * t + flex_phase);
      std::vector<cv::Point3d> points;
      for (int i = 0; i <= 20; ++i) {
        const double s = i / 20.0;
        const Eigen::Vector3d p = nock + axis * (s * length) +
                                  Eigen::Vector3d(bend * flight::bending_shape(s, tip_mass), 0, 0) -
                                  camera;
        points.emplace_back(p.x(), p.y(), p.z());
      }
      std::vector<cv::Point2d> seen;
      cv::projectPoints(points, rotation, cv::Vec3d(0, 0, 0), intrinsics, cv::noArray(), seen);
      track::ArrowSighting sighting;
      sighting.frame = static_cast<int>(scene.sightings.size());
      sighting.t_s = t;
      const Eigen::Vector2d n(seen.front().x, seen.front().y);
      const Eigen::Vector2d p(seen.back().x, seen.back().y);
      const Eigen::Vector2d along = (p - n).normalized();
      const Eigen::Vector2d across(-along.y(), along.x());
      if ((p - n).norm() > 7.0 && n.y() < 1075.0) {
        for (int i = 2; i <= 19; i += 2) {
          sighting.centre.push_back({Eigen::Vector2d(seen[static_cast<std::size_t>(i)].x,
                                                     seen[static_cast<std::size_t>(i)].y) +
                                         across * draws.normal(0.25),
                                     0.25});
        }
        sighting.nock = track::EndPoint{n + along * draws.normal(1.2), 1.2};
        sighting.tip = track::EndPoint{p + along * draws.normal(1.2), 1.2};
        scene.sightings.push_back(sighting);
      } else if (far && (p - n).norm() <= 7.0) {
        const Eigen::Vector2d middle = 0.5 * (n + p) + across * draws.normal(0.4);
        sighting.centre.push_back({middle, 0.4});
        sighting.middle = track::EndPoint{middle + along * draws.normal(0.7), 0.7};
        scene.sightings.push_back(sighting);
      }
    }
    // Semi-implicit Euler over distance, small steps.
    const double dx = velocity.norm() * dt;
    right_rate += (-2 * zeta * kappa * right_rate - kappa * kappa * right) * dx;
    high_rate += (-2 * zeta * kappa * high_rate - kappa * kappa * high) * dx;
    right += right_rate * dx;
    high += high_rate * dx;
    velocity.y() += 9.80665 * dt;
    position += velocity * dt;
  }
  scene.rest_forward_m = -camera.z();
  return scene;
}

flight::FlightFit fit_all(const std::vector<track::ArrowSighting>& sightings,
                          const std::optional<flight::Flown>& flown = std::nullopt) {
  flight::FitOptions options;
  options.flown = flown;
  options.readout_per_px = Eigen::Vector2d::Zero();
  flight::Parameters start = flight::Parameters::Zero();
  const auto& priors = options.priors;
  start[flight::kVanishX] = 959.5;
  start[flight::kVanishY] = 539.5;
  start[flight::kCentreX] = 959.5;
  start[flight::kCentreY] = 539.5 + kFocal * 0.55 / 3.5;
  start[flight::kLogDepth] = std::log(3.5);
  start[flight::kLogSpeed] = priors.log_speed.mean;
  start[flight::kLogLength] = std::log(0.76);
  start[flight::kLogFocal] = std::log(kFocal);
  start[flight::kLogWave] = priors.log_wave.mean;
  start[flight::kDamping] = 0.09;
  start[flight::kFlexHz] = 72;
  start[flight::kFlexDecay] = 10;
  start[flight::kTipMass] = 0.4;
  options.priors.focal_relative_sigma = 0.015;
  options.coarse = true;
  flight::FlightFit fit = flight::fit_flight_from_several(sightings, start, flight::Spread::pitch,
                                                          0.04, kFocal, {959.5, 539.5}, options);
  REQUIRE(fit.converged);
  options.coarse = false;
  fit = flight::fit_flight_from_several(sightings, fit.parameters, flight::Spread::flex, 0.04,
                                        kFocal, {959.5, 539.5}, options);
  REQUIRE(fit.converged);
  fit = flight::fit_flight_from_several(sightings, fit.parameters, flight::Spread::scale, 0.04,
                                        kFocal, {959.5, 539.5}, options);
  REQUIRE(fit.converged);
  return fit;
}

double error_deg(const Scene& scene, const flight::Headline& headline) {
  return units::deg_from_rad(headline.right_rad.value) - scene.truth.right_deg;
}

}  // namespace

TEST_CASE("truth: the distance to the butt, timed, narrows up and down, and intervals still hold") {
  Draws draws{boost::random::mt19937_64(79)};
  constexpr int kTrials = 30;
  int held = 0;
  double squares_without = 0.0;
  double squares_with = 0.0;
  for (int trial = 0; trial < kTrials; ++trial) {
    const Scene scene = simulate(draws, 0.03, 0.012, true);
    REQUIRE(scene.impact_s > 0.0);
    // Told within 1 %, timed within 1 ms at the speeds of the simulation.
    const double sigma_m = std::hypot(0.01 * kButt_m, 0.05);
    const flight::Flown flown{0.0, scene.impact_s,
                              kButt_m + flight::kBraceHeightM + draws.normal(sigma_m), sigma_m};
    const auto high_error = [&](const std::optional<flight::Flown>& told, double& squares) {
      const flight::FlightFit fit = fit_all(scene.sightings, told);
      const flight::Headline headline = flight::headline_at(fit, scene.rest_forward_m, 0.01, 2.0);
      const double error = headline.high_rad.value - units::rad_from_deg(scene.truth.high_deg);
      squares += error * error;
      return std::abs(error) < headline.high_rad.u95;
    };
    high_error(std::nullopt, squares_without);
    held += high_error(flown, squares_with) ? 1 : 0;
  }
  MESSAGE(fmt::format("rms high {:.3f} deg without, {:.3f} with; held {} of {}",
                      units::deg_from_rad(std::sqrt(squares_without / kTrials)),
                      units::deg_from_rad(std::sqrt(squares_with / kTrials)), held, kTrials));
  CHECK(squares_with < squares_without);
  // Of 30 that hold with 95 % chance fewer than 25 have a chance of 0.3 % (binomial).
  CHECK(held >= 25);
}

// A parameter that the pictures hardly tell rests on its prior, whose error is the same next time;
// one that they tell well has at most half of its error so. Both parts are covariances.
TEST_CASE(
    "unit: what the next shot shares is part of the covariance, nearly all where a prior tells") {
  Draws draws{boost::random::mt19937_64(78)};
  const flight::FlightFit fit = fit_all(simulate(draws, 0.03, 0.012).sightings);
  const auto part = [&](int i) { return fit.shared_covariance(i, i) / fit.covariance(i, i); };
  CHECK(part(flight::kDamping) > 0.9);
  CHECK(part(flight::kFlexHz) < 0.6);
  for (int i = 0; i < flight::kParameters; ++i) {
    CAPTURE(i);
    CHECK(part(i) > 0.49);
    CHECK(part(i) < 1.0 + 1e-6);
  }
  const flight::Headline headline = flight::headline_at(fit, 1.5, 0.05, 2.0);
  CHECK(headline.shared_right_u95_rad < headline.right_rad.u95);
  CHECK(headline.shared_high_u95_rad < headline.high_rad.u95);
  CHECK(std::abs(headline.shared_correlation) <= 1.0);
}

TEST_CASE("truth: fitted offsets at 2 m are unbiased and their intervals hold") {
  Draws draws{boost::random::mt19937_64(77)};
  constexpr int kTrials = 60;
  int held_right = 0;
  int held_high = 0;
  double squares_right = 0.0;
  double squares_high = 0.0;
  double sum_right = 0.0;
  for (int trial = 0; trial < kTrials; ++trial) {
    const Scene scene = simulate(draws, 0.03, 0.012);
    const flight::FlightFit fit = fit_all(scene.sightings);
    const flight::Headline headline = flight::headline_at(fit, scene.rest_forward_m, 0.01, 2.0);
    const double right_error =
        headline.right_rad.value - units::rad_from_deg(scene.truth.right_deg);
    const double high_error = headline.high_rad.value - units::rad_from_deg(scene.truth.high_deg);
    squares_right += right_error * right_error;
    squares_high += high_error * high_error;
    sum_right += right_error / headline.right_rad.u95 * 1.96;
    held_right += std::abs(right_error) < headline.right_rad.u95 ? 1 : 0;
    held_high += std::abs(high_error) < headline.high_rad.u95 ? 1 : 0;
  }
  const double rms_right = units::deg_from_rad(std::sqrt(squares_right / kTrials));
  const double rms_high = units::deg_from_rad(std::sqrt(squares_high / kTrials));
  MESSAGE(fmt::format("rms right {:.3f} deg, high {:.3f} deg; held {} and {} of {}", rms_right,
                      rms_high, held_right, held_high, kTrials));
  // The requirement's Cramer-Rao study: 0.13 deg lateral over such cameras, 0.4-1 deg vertical.
  CHECK(rms_right < 0.2);
  CHECK(rms_high < 0.8);
  // Binomial 95 %: below 51 of 60 has a probability under 0.5 %.
  CHECK(held_right >= 52);
  CHECK(held_high >= 52);
  // Mean z-score of 60 has sigma 0.13.
  CHECK(std::abs(sum_right / kTrials) < 0.42);
}

// Of a dim picture the camera's motion is known to half a pixel only, in some frames to less.
TEST_CASE("truth: frames that are laid askew are weighed by how well their camera is known") {
  Draws draws{boost::random::mt19937_64(80)};
  constexpr int kTrials = 40;
  constexpr double kAskew_px = 1.5;
  int held = 0;
  double squares_told = 0.0;
  double squares_untold = 0.0;
  for (int trial = 0; trial < kTrials; ++trial) {
    Scene scene = simulate(draws, 0.03, 0.012);
    for (std::size_t k = 0; k < scene.sightings.size(); k += 2) {
      track::ArrowSighting& sighting = scene.sightings[k];
      const Eigen::Vector2d off(draws.normal(kAskew_px), draws.normal(kAskew_px));
      for (track::CentrePoint& point : sighting.centre) {
        point.at_px += off;
      }
      sighting.nock->at_px += off;
      sighting.tip->at_px += off;
    }
    const auto error_of = [&](double told_px, double& squares) {
      for (std::size_t k = 0; k < scene.sightings.size(); k += 2) {
        scene.sightings[k].camera_sigma_px = told_px;
      }
      const auto headline =
          flight::headline_at(fit_all(scene.sightings), scene.rest_forward_m, 0.01, 2.0);
      const double error = error_deg(scene, headline);
      squares += error * error;
      return std::abs(error) < units::deg_from_rad(headline.right_rad.u95);
    };
    error_of(0.0, squares_untold);
    held += error_of(kAskew_px, squares_told) ? 1 : 0;
  }
  MESSAGE(fmt::format("rms right {:.3f} deg told, {:.3f} untold; held {} of {}",
                      std::sqrt(squares_told / kTrials), std::sqrt(squares_untold / kTrials), held,
                      kTrials));
  CHECK(squares_told < squares_untold);
  CHECK(held >= 34);  // binomial 95 %: below 34 of 40 has a probability under 1 %
}

TEST_CASE("truth: an arrow followed on as a speck is known more closely, and as well as is said") {
  Draws draws{boost::random::mt19937_64(78)};
  constexpr int kTrials = 40;
  double with_u95 = 0.0;
  double without_u95 = 0.0;
  double z_squares = 0.0;
  int held = 0;
  for (int trial = 0; trial < kTrials;) {
    const Scene scene = simulate(draws, 0.03, 0.012, true);
    std::vector<track::ArrowSighting> near = scene.sightings;
    std::erase_if(near, [](const auto& sighting) { return sighting.middle.has_value(); });
    if (near.size() + 8 > scene.sightings.size()) {
      continue;  // slow and seen from high above: never a speck
    }
    ++trial;
    const auto with =
        flight::headline_at(fit_all(scene.sightings), scene.rest_forward_m, 0.01, 2.0);
    const auto without = flight::headline_at(fit_all(near), scene.rest_forward_m, 0.01, 2.0);
    with_u95 += with.right_rad.u95 / kTrials;
    without_u95 += without.right_rad.u95 / kTrials;
    const double z = error_deg(scene, with) / units::deg_from_rad(with.right_rad.u95) * 1.96;
    z_squares += z * z;
    held += std::abs(z) < 1.96 ? 1 : 0;
  }
  MESSAGE(fmt::format("u95 {:.3f} with, {:.3f} without; z {:.2f}; held {} of {}",
                      units::deg_from_rad(with_u95), units::deg_from_rad(without_u95),
                      std::sqrt(z_squares / kTrials), held, kTrials));
  CHECK(with_u95 < without_u95);
  CHECK(std::sqrt(z_squares / kTrials) < 1.3);  // 1 +- 0.11
  CHECK(held >= 34);  // binomial 95 %: below 34 of 40 has a probability under 1 %
}

TEST_CASE("truth: ends that something hides mislead less when it is known that they may be") {
  Draws draws{boost::random::mt19937_64(79)};
  constexpr int kTrials = 25;
  double known = 0.0;
  double unknown = 0.0;
  for (int trial = 0; trial < kTrials; ++trial) {
    Scene scene = simulate(draws, 0.03, 0.012);
    // A limb hides a tenth of the shaft in half of the frames.
    for (std::size_t k = 0; k < scene.sightings.size() / 2; ++k) {
      track::ArrowSighting& sighting = scene.sightings[k];
      sighting.nock->at_px += 0.1 * (sighting.tip->at_px - sighting.nock->at_px);
    }
    const auto misled =
        flight::headline_at(fit_all(scene.sightings), scene.rest_forward_m, 0.01, 2.0);
    for (std::size_t k = 0; k < scene.sightings.size() / 2; ++k) {
      scene.sightings[k].nock->may_be_hidden = true;
    }
    const auto told =
        flight::headline_at(fit_all(scene.sightings), scene.rest_forward_m, 0.01, 2.0);
    unknown += std::pow(error_deg(scene, misled), 2);
    known += std::pow(error_deg(scene, told), 2);
  }
  MESSAGE(fmt::format("rms {:.3f} deg when known, {:.3f} when not", std::sqrt(known / kTrials),
                      std::sqrt(unknown / kTrials)));
  CHECK(known < unknown);
}
