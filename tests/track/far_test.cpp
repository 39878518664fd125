// An arrow too far away for its ends: a short bar drawn into noise at a known place.
#include <doctest/doctest.h>

#include <cmath>

#include "bar_picture.hpp"
#include "nocktrail/track/shaft.hpp"

using namespace nocktrail;

namespace {

constexpr double kNoise = 2.0;
constexpr double kLength_px = 5.0;
constexpr double kWidth_px = 1.3;
constexpr double kGrey = -35.0;  // a dark arrow
constexpr double kSoftness_px = 0.9;
const Eigen::Vector2d kAlong = Eigen::Vector2d(0.3, -1.0).normalized();

track::Region empty_region(test::Random& random) {
  const cv::Size size(60, 60);
  track::Region region;
  region.roi = cv::Rect(cv::Point(100, 200), size);
  region.background = cv::Mat(size, CV_32F, cv::Scalar(110.0));
  region.sigma = cv::Mat(size, CV_32F, cv::Scalar(kNoise));
  cv::Mat picture = cv::Mat::zeros(size, CV_32F);
  test::add_noise(picture, kNoise, random);
  region.difference.push_back(picture);
  return region;
}

void add_arrow(track::Region& region, const Eigen::Vector2d& middle_px) {
  const Eigen::Vector2d at = middle_px - Eigen::Vector2d(region.roi.x, region.roi.y);
  test::add_bar(region.difference.front(), at - 0.5 * kLength_px * kAlong,
                at + 0.5 * kLength_px * kAlong, kWidth_px, kGrey, kSoftness_px);
}

track::Expected expected_at(const Eigen::Vector2d& middle_px) {
  track::Expected expected;
  expected.nock_px = middle_px - 0.5 * kLength_px * kAlong;
  expected.tip_px = middle_px + 0.5 * kLength_px * kAlong;
  expected.width_px = kWidth_px;
  expected.search_across_px = 4.0;
  expected.search_along_px = 4.0;
  return expected;
}

}  // namespace

TEST_CASE("truth: a far arrow is found where it is, as well as is said") {
  test::Random random(71);
  boost::random::uniform_real_distribution<double> share(-1.0, 1.0);
  double squares_along = 0.0;
  double squares_across = 0.0;
  constexpr int kTrials = 60;
  for (int trial = 0; trial < kTrials; ++trial) {
    track::Region region = empty_region(random);
    const Eigen::Vector2d truth(130 + share(random), 230 + share(random));
    add_arrow(region, truth);
    const auto sight = track::sight_far(
        region, 0, expected_at(truth + 2.0 * Eigen::Vector2d(share(random), share(random))));
    REQUIRE(sight.has_value());
    const Eigen::Vector2d off = sight->at_px - truth;
    const double along = off.dot(kAlong);
    const double across = off.x() * -kAlong.y() + off.y() * kAlong.x();
    squares_along += along * along / (sight->sigma_along_px * sight->sigma_along_px);
    squares_across += across * across / (sight->sigma_across_px * sight->sigma_across_px);
    CHECK(std::abs(along) < 1.0);
    CHECK(std::abs(across) < 0.5);
  }
  // Mean squared z of 60: 1 +- 0.18; twice that leaves room for the grid of places.
  CHECK(squares_along / kTrials < 2.0);
  CHECK(squares_across / kTrials < 2.0);
  CHECK(squares_along / kTrials > 0.3);
}

TEST_CASE("truth: nothing is found in noise, nor where two things might be the arrow") {
  test::Random random(72);
  const Eigen::Vector2d middle(130, 230);
  for (int trial = 0; trial < 100; ++trial) {
    const track::Region region = empty_region(random);
    CHECK_FALSE(track::sight_far(region, 0, expected_at(middle)).has_value());
  }
  track::Region two = empty_region(random);
  const Eigen::Vector2d across(-kAlong.y(), kAlong.x());
  add_arrow(two, middle);
  REQUIRE(track::sight_far(two, 0, expected_at(middle)).has_value());
  add_arrow(two, middle + 3.7 * across);
  CHECK_FALSE(track::sight_far(two, 0, expected_at(middle)).has_value());
}
