// The far arrow over a row of frames: a bar drawn where a flight has it, while another flight, not
// quite the same, says where to look.
#include <doctest/doctest.h>

#include <Eigen/Core>
#include <algorithm>
#include <functional>
#include <vector>

#include "example_flight.hpp"
#include "nocktrail/flight/fit.hpp"
#include "sightings.hpp"
#include "track/bar_picture.hpp"

using namespace nocktrail;

namespace {

constexpr double kFrame_s = 1.0 / 240.0;
constexpr double kNoise = 2.0;
constexpr double kGrey = -40.0;
constexpr double kWidth_px = 1.2;
constexpr double kSoftness_px = 0.9;
const cv::Size kPicture(1920, 1080);
const cv::Rect kPart(840, 460, 260, 220);

Eigen::Vector2d middle_of(const flight::FlightFit& fit, double t_s) {
  return 0.5 * (flight::seen_px(fit, t_s, 0.0) + flight::seen_px(fit, t_s, 1.0));
}

std::vector<double> frame_times() {
  constexpr std::size_t kFrames = 38;
  std::vector<double> t_s(kFrames);
  for (std::size_t k = 0; k < kFrames; ++k) {
    t_s[k] = static_cast<double>(k) * kFrame_s;
  }
  return t_s;
}

// In each frame a bar of the arrow's length and direction about a middle that is asked for.
track::Region region_with(const flight::FlightFit& fit, const std::vector<double>& t_s,
                          const std::function<Eigen::Vector2d(double t_s)>& middle_px,
                          test::Random& random) {
  track::Region region;
  region.roi = kPart;
  region.background = cv::Mat(kPart.size(), CV_32F, cv::Scalar(110.0));
  region.sigma = cv::Mat(kPart.size(), CV_32F, cv::Scalar(kNoise));
  const Eigen::Vector2d corner(kPart.x, kPart.y);
  for (const double t : t_s) {
    cv::Mat picture = cv::Mat::zeros(kPart.size(), CV_32F);
    const Eigen::Vector2d half =
        0.5 * (flight::seen_px(fit, t, 1.0) - flight::seen_px(fit, t, 0.0));
    const Eigen::Vector2d middle = middle_px(t) - corner;
    test::add_bar(picture, middle - half, middle + half, kWidth_px, kGrey, kSoftness_px);
    test::add_noise(picture, kNoise, random);
    region.difference.push_back(picture);
  }
  return region;
}

// Frames in which the arrow is long enough to be a speck and no longer measured as a shaft.
int far_frames(const flight::FlightFit& fit, const std::vector<double>& t_s) {
  int n = 0;
  for (const double t : t_s) {
    const double length = (flight::seen_px(fit, t, 1.0) - flight::seen_px(fit, t, 0.0)).norm();
    n += length < 10.0 && length > 1.5 ? 1 : 0;
  }
  return n;
}

}  // namespace

TEST_CASE("truth: a far arrow that flies on is sighted where it is") {
  test::Random random(31);
  const std::vector<double> t_s = frame_times();
  const flight::FlightFit expected = test::example_flight(0.03);
  flight::FlightFit real = expected;  // 1 px aside, and 2 % faster
  real.parameters[flight::kVanishX] += 1.0;
  real.parameters[flight::kLogSpeed] += 0.02;
  const auto middle_px = [&](double t) { return middle_of(real, t); };
  const track::Region region = region_with(real, t_s, middle_px, random);
  const auto sightings = pipeline::far_sightings(region, expected, t_s, kPicture);
  const int possible = far_frames(expected, t_s);
  REQUIRE(possible >= 15);
  CHECK(static_cast<int>(sightings.size()) >= 0.8 * possible);
  for (const track::ArrowSighting& sighting : sightings) {
    REQUIRE(sighting.middle.has_value());
    CAPTURE(sighting.t_s);
    CHECK((sighting.middle->at_px - middle_px(sighting.t_s)).norm() < 0.7);
  }
}

TEST_CASE("truth: specks anywhere within the search are no arrow that flies on") {
  test::Random random(32);
  boost::random::uniform_real_distribution<double> anywhere(-3.4, 3.4);
  const std::vector<double> t_s = frame_times();
  const flight::FlightFit expected = test::example_flight(0.03);
  std::size_t sighted = 0;
  int possible = 0;
  for (int trial = 0; trial < 8; ++trial) {
    const track::Region region = region_with(
        expected, t_s,
        [&](double t) -> Eigen::Vector2d {
          return middle_of(expected, t) + Eigen::Vector2d(anywhere(random), anywhere(random));
        },
        random);
    sighted += pipeline::far_sightings(region, expected, t_s, kPicture).size();
    possible += far_frames(expected, t_s);
  }
  CHECK(static_cast<double>(sighted) < 0.15 * possible);
}

TEST_CASE("truth: an arrow that sticks in the butt does not fly on") {
  test::Random random(33);
  const std::vector<double> t_s = frame_times();
  const flight::FlightFit expected = test::example_flight(0.03);
  const double stuck_s = 0.11;
  const track::Region region = region_with(
      expected, t_s, [&](double t) { return middle_of(expected, std::min(t, stuck_s)); }, random);
  for (const auto& sighting : pipeline::far_sightings(region, expected, t_s, kPicture)) {
    CAPTURE(sighting.t_s);
    CHECK(sighting.t_s < stuck_s + 1.5 * kFrame_s);
  }
}
