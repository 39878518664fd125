// The sub-pixel measurement of the shaft on drawn bars: bias, scatter and honesty of its sigmas.
#include <doctest/doctest.h>

#include <cmath>
#include <vector>

#include "bar_picture.hpp"
#include "nocktrail/track/shaft.hpp"

using namespace nocktrail;

namespace {

constexpr double kNoise = 2.0;

track::Region region_of(const cv::Mat& difference) {
  track::Region region;
  region.roi = cv::Rect(0, 0, difference.cols, difference.rows);
  region.difference = {difference};
  region.background = cv::Mat::zeros(difference.size(), CV_32F);
  region.sigma = cv::Mat(difference.size(), CV_32F, cv::Scalar(kNoise));
  return region;
}

// One frame on its own.
track::ArrowSighting measured(const cv::Mat& difference, const track::Expected& expected,
                              const track::ShaftOptions& options) {
  const auto profile = track::cut_open(region_of(difference), 0, 0.0, expected, options);
  return profile ? track::sight(*profile, options) : track::ArrowSighting{};
}

// Least possible sigma across the shaft of one slice `slice_px` long: noise over the root of the
// sum of squared slopes of the profile (Cramer and Rao's bound for a place in white noise).
double bound_px(double width_px, double contrast, double blur_px, double slice_px) {
  double information = 0.0;
  for (double b = -12.0; b <= 12.0; b += 1.0) {
    const double slope = (test::box_through_blur(b + 1e-4, width_px, blur_px) -
                          test::box_through_blur(b - 1e-4, width_px, blur_px)) /
                         2e-4;
    information += std::pow(contrast * slope / kNoise, 2) * slice_px;
  }
  return 1.0 / std::sqrt(information);
}

struct Bar {
  Eigen::Vector2d nock;
  Eigen::Vector2d tip;
  double width_px = 3.0;
  double contrast = 30.0;
};

}  // namespace

TEST_CASE("truth: centre points are unbiased, near the bound, and their sigmas are honest") {
  test::Random random(21);
  boost::random::uniform_real_distribution<double> share(-1.0, 1.0);
  const track::ShaftOptions options;
  for (const double width_px : {1.5, 3.0, 5.0}) {
    for (const double contrast : {25.0, -60.0}) {
      CAPTURE(width_px);
      CAPTURE(contrast);
      double sum = 0.0;
      double squares = 0.0;
      double z_squares = 0.0;
      double least_sigma = 1e9;
      int count = 0;
      int end_count = 0;
      double nock_sum = 0.0;
      double tip_sum = 0.0;
      double end_squares = 0.0;
      constexpr int kDraws = 120;
      for (int draw = 0; draw < kDraws; ++draw) {
        Bar bar{{70 + 3 * share(random), 118 + 3 * share(random)},
                {88 + 12 * share(random), 40 + 3 * share(random)},
                width_px,
                contrast};
        cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
        test::add_bar(difference, bar.nock, bar.tip, width_px, contrast, options.edge_softness_px);
        test::add_noise(difference, kNoise, random);
        track::Expected expected;
        expected.nock_px = bar.nock + 1.2 * Eigen::Vector2d(share(random), share(random));
        expected.tip_px = bar.tip + 1.2 * Eigen::Vector2d(share(random), share(random));
        expected.width_px = width_px;
        const track::ArrowSighting sighting = measured(difference, expected, options);
        const Eigen::Vector2d along = (bar.tip - bar.nock).normalized();
        const Eigen::Vector2d across(-along.y(), along.x());
        CHECK(sighting.centre.size() >= 6);
        for (const track::CentrePoint& point : sighting.centre) {
          const double off = (point.at_px - bar.nock).dot(across);
          sum += off;
          squares += off * off;
          z_squares += off * off / (point.sigma_px * point.sigma_px);
          least_sigma = std::min(least_sigma, point.sigma_px);
          ++count;
        }
        if (sighting.nock && sighting.tip) {
          const double nock = (sighting.nock->at_px - bar.nock).dot(along);
          const double tip = (sighting.tip->at_px - bar.tip).dot(along);
          nock_sum += nock;
          tip_sum += tip;
          end_squares += nock * nock + tip * tip;
          ++end_count;
        }
      }
      const double rms = std::sqrt(squares / count);
      const double bound = bound_px(width_px, contrast, options.edge_softness_px, 6.0);
      // Four standard errors of the mean, and a hundredth of a pixel for sampling between pixels.
      CHECK(std::abs(sum / count) < 4.0 * rms / std::sqrt(count) + 0.01);
      // Efficient to a factor of two, as a matched filter on resampled rows should be.
      CHECK(rms < 2.0 * bound + 0.03);
      // Sigmas: never below the stated floor, and not smaller than the scatter by more than a
      // tenth (chi-square of some 1000 numbers: 3 sigma = 7 %).
      CHECK(least_sigma >= options.centre_floor_px);
      CHECK(std::sqrt(z_squares / count) < 1.1);
      // Ends: both seen nearly always, half a pixel along the shaft.
      CHECK(end_count > kDraws * 9 / 10);
      CHECK(std::abs(nock_sum / end_count) < 0.3);
      CHECK(std::abs(tip_sum / end_count) < 0.3);
      CHECK(std::sqrt(end_squares / (2 * end_count)) < options.end_floor_px);
    }
  }
}

TEST_CASE(
    "truth: the centre line stays in the middle of a shaft that the sun lights from one side") {
  // A round shaft under Lambert's cosine law, the sun 65 deg to one side: strips across it, each
  // with the cosine of its own normal. Against ground of about its own mean grey only a bright and
  // a dark stripe show.
  const track::ShaftOptions options;
  test::Random random(27);
  boost::random::uniform_real_distribution<double> share(-1.0, 1.0);
  constexpr int kStrips = 9;
  constexpr double kSun_rad = 65.0 * M_PI / 180.0;
  std::vector<track::Region> regions;
  std::vector<track::Expected> expectations;
  std::vector<Bar> bars;
  for (int frame = 0; frame < 14; ++frame) {
    const double length = 80.0 - 3.5 * frame;
    const double ground = 75.0 + 35.0 * share(random);
    const Bar bar{{70 + 3 * share(random), 118 + 3 * share(random)},
                  {72 + 3 * share(random), 118 - length},
                  4.0 - 0.15 * frame,
                  0.0};
    const Eigen::Vector2d along = (bar.tip - bar.nock).normalized();
    const Eigen::Vector2d across(-along.y(), along.x());
    cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
    for (int strip = 0; strip < kStrips; ++strip) {
      const double u = (2.0 * strip + 1.0) / kStrips - 1.0;
      const double cosine = u * std::sin(kSun_rad) + std::sqrt(1.0 - u * u) * std::cos(kSun_rad);
      const double grey = 30.0 + 120.0 * std::max(0.0, cosine);
      const Eigen::Vector2d shift = across * (0.5 * u * bar.width_px);
      test::add_bar(difference, bar.nock + shift, bar.tip + shift, bar.width_px / kStrips,
                    grey - ground, options.edge_softness_px);
    }
    test::add_noise(difference, kNoise, random);
    regions.push_back(region_of(difference));
    regions.back().background.setTo(ground);
    track::Expected expected;
    expected.nock_px = bar.nock + Eigen::Vector2d(share(random), 1.5 * share(random));
    expected.tip_px = bar.tip + Eigen::Vector2d(share(random), 1.5 * share(random));
    expected.width_px = bar.width_px;
    expectations.push_back(expected);
    bars.push_back(bar);
  }
  double side = 0.0;
  std::vector<track::ShaftProfile> profiles;
  for (int pass = 0; pass < 3; ++pass) {
    profiles.clear();
    for (std::size_t i = 0; i < bars.size(); ++i) {
      if (const auto profile =
              track::cut_open(regions[i], 0, 0.0, expectations[i], options, side)) {
        profiles.push_back(*profile);
        profiles.back().frame = i;
      }
    }
    REQUIRE(profiles.size() >= 10);
    side = track::learn_side(profiles, options);
  }
  CHECK(side > 15.0);  // the strips' greys rise by 60 over half the width
  double off = 0.0;
  int points = 0;
  for (const track::ShaftProfile& profile : profiles) {
    const Bar& bar = bars[profile.frame];
    const Eigen::Vector2d along = (bar.tip - bar.nock).normalized();
    for (const track::CentrePoint& point : track::sight(profile, options).centre) {
      off += (point.at_px - bar.nock).dot(Eigen::Vector2d(-along.y(), along.x()));
      ++points;
    }
  }
  // A stripe's middle lies a pixel off.
  CHECK(std::abs(off / points) < 0.3);
}

TEST_CASE("truth: empty ground gives no sighting") {
  test::Random random(22);
  int sightings = 0;
  for (int draw = 0; draw < 100; ++draw) {
    cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
    test::add_noise(difference, kNoise, random);
    track::Expected expected;
    expected.nock_px = {70, 118};
    expected.tip_px = {88, 40};
    const track::ArrowSighting sighting = measured(difference, expected, {});
    sightings += sighting.centre.size() >= 2 ? 1 : 0;
  }
  CHECK(sightings <= 2);
}

TEST_CASE("truth: how much of the front half shows, whatever the rear does") {
  test::Random random(29);
  const track::ShaftOptions options;
  const Eigen::Vector2d nock(70, 118);
  const Eigen::Vector2d tip(88, 40);
  for (const double painted_to : {0.4, 1.0}) {
    CAPTURE(painted_to);
    cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
    test::add_bar(difference, nock, nock + painted_to * (tip - nock), 3.0, 40.0,
                  options.edge_softness_px);
    test::add_noise(difference, kNoise, random);
    track::Expected expected;
    expected.nock_px = nock;
    expected.tip_px = tip;
    expected.width_px = 3.0;
    const auto profile = track::cut_open(region_of(difference), 0, 0.0, expected, options);
    REQUIRE(profile);
    const bool whole = painted_to == 1.0;
    CHECK(std::abs(profile->front_shown - (whole ? 1.0 : 0.0)) < 0.25);
    CHECK(track::sight(*profile, options).front_shown == profile->front_shown);
  }
}

TEST_CASE("truth: a hidden tip is left out, not guessed") {
  // The foremost fifth goes on beyond the tip as something just like the shaft: a trunk, a leg of
  // the target. Where the shaft ends can't be seen there.
  const track::ShaftOptions options;
  test::Random random(23);
  const Bar bar{{70, 118}, {88, 40}, 3.0, 30.0};
  const Eigen::Vector2d along = (bar.tip - bar.nock).normalized();
  cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
  test::add_bar(difference, bar.nock, bar.tip + 60.0 * along, 3.0, 30.0, options.edge_softness_px);
  test::add_noise(difference, kNoise, random);
  track::Expected expected;
  expected.nock_px = bar.nock;
  expected.tip_px = bar.tip;
  const track::ArrowSighting sighting = measured(difference, expected, options);
  CHECK(sighting.nock.has_value());
  CHECK_FALSE(sighting.tip.has_value());
}

TEST_CASE("truth: foremost_end finds where a shaft along a curve begins") {
  const track::ShaftOptions options;
  test::Random random(24);
  boost::random::uniform_real_distribution<double> share(0.0, 1.0);
  std::vector<Eigen::Vector2d> curve;
  std::vector<double> width_px;
  for (int i = 0; i < 100; ++i) {  // upward in the picture, a pixel a step
    curve.emplace_back(60.0 + 0.05 * i, 120.0 - i);
    width_px.push_back(4.0);
  }
  double worst = 0.0;
  for (int draw = 0; draw < 30; ++draw) {
    const double end = 40.0 + 30.0 * share(random);
    const Eigen::Vector2d tip(60.0 + 0.05 * end, 120.0 - end);
    cv::Mat difference = cv::Mat::zeros(160, 150, CV_32F);
    test::add_bar(difference, {59.0, 140.0}, tip, 4.0, 35.0, options.edge_softness_px);
    test::add_noise(difference, kNoise, random);
    const auto found = track::foremost_end(region_of(difference), 0, curve, width_px, 4.0, options);
    REQUIRE(found.has_value());
    worst = std::max(worst, std::abs(*found - end));
  }
  // Levels are smoothed over 5 px, and the noise floor lifts their half: two pixels, about 1 cm.
  CHECK(worst < 2.5);
  cv::Mat empty = cv::Mat::zeros(160, 150, CV_32F);
  test::add_noise(empty, kNoise, random);
  CHECK_FALSE(track::foremost_end(region_of(empty), 0, curve, width_px, 4.0, options).has_value());
}
