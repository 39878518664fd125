// The committed clips end to end against their truth. The margins are absolute and what the
// program is for: 0.5 deg is the dead band, so that an error of that size changes what is told; the
// vertical one is two and a half times the 0.8 deg r.m.s. that is asked of one shot from behind.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "nocktrail/median.hpp"
#include "truth_file.hpp"

using namespace nocktrail;

namespace {

constexpr double kLateralMargin_deg = 0.5;
constexpr double kVerticalMargin_deg = 2.0;
constexpr double kExitMargin_s = 0.006;
constexpr double kSpeedMargin = 0.12;
constexpr double kCantMargin_deg = 5.0;  // two and a half times the 2 deg r.m.s. that is asked

// Distance of what was seen from where the end really was, px, over the frames that have both.
std::vector<double> distances_px(const Shot& shot, const test::ShotTruth& truth, bool nock) {
  std::vector<double> distances;
  for (const FrameObservation& frame : shot.frames) {
    const auto& seen = nock ? frame.nock_px : frame.tip_px;
    const auto& places = nock ? truth.nock_px : truth.tip_px;
    const auto place = places.find(frame.index);
    if (seen && frame.used && place != places.end()) {
      distances.push_back((*seen - place->second).norm());
    }
  }
  return distances;
}

void check_exit(const Shot& shot, const test::ShotTruth& truth) {
  CHECK(std::abs(*shot.exit_s - truth.exit_s) < kExitMargin_s);
}

void check_shot(const Shot& shot, const test::ShotTruth& truth) {
  REQUIRE(shot.status == ShotStatus::measured);
  const double right = shot.nock_right_deg->value - truth.nock_right_deg;
  const double high = shot.nock_high_deg->value - truth.nock_high_deg;
  INFO(fmt::format("right {:.2f} +- {:.2f}, truth {:.2f}; high {:.2f} +- {:.2f}, truth {:.2f}",
                   shot.nock_right_deg->value, shot.nock_right_deg->u95, truth.nock_right_deg,
                   shot.nock_high_deg->value, shot.nock_high_deg->u95, truth.nock_high_deg));
  CHECK(std::abs(right) < kLateralMargin_deg);
  CHECK(std::abs(high) < kVerticalMargin_deg);
  if (std::abs(truth.nock_right_deg) > 0.5) {
    CHECK(shot.nock_right_deg->value * truth.nock_right_deg > 0.0);
  }
  CHECK(std::abs(shot.speed_mps->value / truth.speed_mps - 1.0) < kSpeedMargin);
  // An interval that is no use would pass every other check.
  CHECK(shot.nock_right_deg->u95 > 0.0);
  CHECK(shot.nock_right_deg->u95 <= 1.5);
  // The ends are seen where they are: half of them within 3 px, a few times their stated 0.7 px.
  for (const bool nock : {true, false}) {
    std::vector<double> distances = distances_px(shot, truth, nock);
    CAPTURE(nock);
    CHECK(distances.size() >= 4);
    if (!distances.empty()) {
      CHECK(upper_median(distances) < 3.0);
    }
  }
}

// Readings known to miss the margins, kept in view until they meet them (docs/accuracy.md): a 720p
// arrow of 2 px, refused as it does not settle; a limb before the first metres of a dark shaft,
// whose speed is not to be believed; and a bare arrow at 120 frames a second, 2.4 deg off up and
// down where it says 3.6 (1.9 by the reader before, within the margin of 2 and no better known).
const std::vector<std::string> kKnownToMiss = {"two-shots.mp4", "vertical-bow-1080p.mp4",
                                               "landscape-bare-120fps.mp4"};
// Its offset, speed and ends are right; its exit is 6.8 ms early since what was taken for the point
// is believed less (docs/method.md).
const std::string kExitKnownToMiss = "upside-down.mp4";

bool known_to_miss(const test::ClipTruth& truth) {
  return std::find(kKnownToMiss.begin(), kKnownToMiss.end(), truth.clip.filename().string()) !=
         kKnownToMiss.end();
}

void check_clips(bool missing_ones, int least_measured) {
  // Filmed in near darkness: to refuse it is right too.
  const std::vector<std::string> may_refuse = {"low-light.mp4"};
  double z_squares = 0.0;
  int measured = 0;
  int cants = 0;
  for (const test::ClipTruth& truth : test::committed_clips()) {
    if (known_to_miss(truth) != missing_ones) {
      continue;
    }
    const std::string name = truth.clip.filename().string();
    CAPTURE(name);
    const Reading reading = read_clip(truth.clip, truth.options);
    CAPTURE(reading.reason);
    CHECK(reading.clip.capture_fps == doctest::Approx(truth.capture_fps).epsilon(0.01));
    if (!truth.measurable) {
      CHECK((reading.status == ClipStatus::no_shot || reading.status == ClipStatus::refused));
      CHECK_FALSE(reading.reason.empty());
      for (const Shot& shot : reading.shots) {
        CHECK(shot.status == ShotStatus::refused);
        CHECK_FALSE(shot.nock_right_deg.has_value());
      }
      continue;
    }
    if (std::find(may_refuse.begin(), may_refuse.end(), name) != may_refuse.end() &&
        reading.status != ClipStatus::measured) {
      continue;
    }
    CHECK(reading.status == ClipStatus::measured);
    CHECK(reading.shots.size() == truth.shots.size());
    for (std::size_t i = 0; i < std::min(reading.shots.size(), truth.shots.size()); ++i) {
      CAPTURE(i);
      const Shot& shot = reading.shots[i];
      CHECK(shot.status == ShotStatus::measured);
      if (shot.status != ShotStatus::measured) {
        continue;
      }
      check_shot(shot, truth.shots[i]);
      if (name != kExitKnownToMiss) {
        check_exit(shot, truth.shots[i]);
      }
      if (shot.cant_seen_deg) {
        CHECK(std::abs(shot.cant_seen_deg->value - truth.cant_deg) < kCantMargin_deg);
        ++cants;
      }
      const double z = (shot.nock_right_deg->value - truth.shots[i].nock_right_deg) /
                       (shot.nock_right_deg->u95 / 1.96);
      z_squares += z * z;
      ++measured;
    }
  }
  // Honest intervals give 1 +- 0.2 over a dozen shots; 2 is five standard errors off.
  REQUIRE(measured >= least_measured);
  CHECK(cants >= 0.8 * measured);  // the upper limb shows in all of them
  CHECK(std::sqrt(z_squares / measured) < 2.0);
}

}  // namespace

TEST_CASE("truth: every committed clip reads what is true, or nothing") {
  check_clips(false, 9);
}

// Fails, and is expected to: when it passes, the clips named above belong with the others.
TEST_CASE("truth: clips whose readings are known to miss the margins" * doctest::should_fail()) {
  check_clips(true, 3);
}

TEST_CASE("truth: an exit that is known to miss its margin" * doctest::should_fail()) {
  const test::ClipTruth truth = test::committed_clip(kExitKnownToMiss);
  const Reading reading = read_clip(truth.clip, truth.options);
  REQUIRE(reading.status == ClipStatus::measured);
  check_exit(reading.shots.front(), truth.shots.front());
}

TEST_CASE(
    "truth: without arrow length and focal length the truth is still inside, the interval wider") {
  test::ClipTruth truth = test::committed_clip("upside-down.mp4");
  const Reading told = read_clip(truth.clip, truth.options);
  truth.options.arrow_length_m.reset();
  truth.options.focal_35mm.reset();
  const Reading assumed = read_clip(truth.clip, truth.options);
  REQUIRE(told.status == ClipStatus::measured);
  REQUIRE(assumed.status == ClipStatus::measured);
  CHECK(assumed.camera.source == FocalSource::assumed);
  CHECK(told.camera.source == FocalSource::user);
  const Measured& value = *assumed.shots.front().nock_right_deg;
  CHECK(std::abs(value.value - truth.shots.front().nock_right_deg) < 1.5 * value.u95);
  CHECK(value.u95 >= told.shots.front().nock_right_deg->u95);
}
