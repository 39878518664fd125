// Clips filmed from beside the line, of known truth.
#include <doctest/doctest.h>

#include <cmath>

#include "truth_file.hpp"

using namespace nocktrail;

namespace {

Shot measured_in(const test::ClipTruth& truth) {
  const Reading reading = read_clip(truth.clip, truth.options);
  CAPTURE(reading.reason);
  REQUIRE(reading.status == ClipStatus::measured);
  return reading.shots.front();
}

}  // namespace

TEST_CASE("truth: a bow that swings over where the arrow flew does not hide it") {
  const test::ClipTruth truth = test::committed_clip("bow-swings.mp4");
  const Shot shot = measured_in(truth);
  const test::ShotTruth& is = truth.shots.front();
  CHECK(std::abs(shot.nock_right_deg->value - is.nock_right_deg) <= shot.nock_right_deg->u95);
  CHECK(std::abs(shot.nock_high_deg->value - is.nock_high_deg) <= shot.nock_high_deg->u95);
  CHECK(shot.nock_right_deg->u95 < 1.0);
}

TEST_CASE("truth: from either side of the line the nock's height is read, and nothing else") {
  for (const char* const name : {"from-side/left-of-line.mp4", "from-side/right-of-line.mp4",
                                 "from-side/archer-in-view.mp4"}) {
    CAPTURE(name);
    const test::ClipTruth truth = test::committed_clip(name);
    const Reading reading = read_clip(truth.clip, truth.options);
    CAPTURE(reading.reason);
    REQUIRE(reading.status == ClipStatus::measured);
    REQUIRE(reading.shots.size() == 1);
    const Shot& shot = reading.shots.front();
    const test::ShotTruth& is = truth.shots.front();
    CHECK(shot.view == View::side);
    CHECK_FALSE(shot.nock_right_deg);
    CHECK_FALSE(shot.in_bow);
    CHECK(shot.verdict.spine == SpineVerdict::unclear);
    REQUIRE(shot.nock_high_deg);
    CHECK(std::abs(shot.nock_high_deg->value - is.nock_high_deg) <= shot.nock_high_deg->u95);
    CHECK(shot.nock_high_deg->u95 < 0.5);
    REQUIRE(shot.speed_mps);
    CHECK(std::abs(shot.speed_mps->value - is.speed_mps) <= shot.speed_mps->u95);
    REQUIRE(shot.exit_s);
    CHECK(std::abs(*shot.exit_s - is.exit_s) < 0.004);
  }
}

TEST_CASE("truth: a shaft of its background's brightness is seen by its colour") {
  const test::ClipTruth truth = test::committed_clip("from-side/wood-before-grey.mp4");
  const Shot shot = measured_in(truth);
  const test::ShotTruth& is = truth.shots.front();
  CHECK(shot.view == View::side);
  REQUIRE(shot.nock_high_deg);
  CHECK(std::abs(shot.nock_high_deg->value - is.nock_high_deg) <= shot.nock_high_deg->u95);
  CHECK(shot.nock_high_deg->u95 < 1.0);
}

// Fails, and is expected to: 7.7 ms late. Told an arrow a tenth of a millimetre shorter it is 1.3
// ms early; from the side no other looks are averaged (docs/method.md).
TEST_CASE("truth: the exit of a shaft seen by its colour" * doctest::should_fail()) {
  const test::ClipTruth truth = test::committed_clip("from-side/wood-before-grey.mp4");
  const Shot shot = measured_in(truth);
  CHECK(std::abs(*shot.exit_s - truth.shots.front().exit_s) < 0.006);
}

TEST_CASE("truth: told a view that it was not filmed from, a clip gives no number") {
  test::ClipTruth side = test::committed_clip("from-side/left-of-line.mp4");
  side.options.view = View::behind;
  const Reading as_behind = read_clip(side.clip, side.options);
  CHECK(as_behind.status != ClipStatus::measured);
  CHECK_FALSE(as_behind.reason.empty());

  test::ClipTruth behind = test::committed_clip("hevc-gravel.mp4");
  behind.options.view = View::side;
  const Reading as_side = read_clip(behind.clip, behind.options);
  CHECK(as_side.status != ClipStatus::measured);
  CHECK_FALSE(as_side.reason.empty());
}

TEST_CASE("metamorphic: told the view that is seen anyway, a clip reads the same") {
  test::ClipTruth truth = test::committed_clip("from-side/right-of-line.mp4");
  const Reading seen = read_clip(truth.clip, truth.options);
  truth.options.view = View::side;
  const Reading told = read_clip(truth.clip, truth.options);
  REQUIRE(seen.status == ClipStatus::measured);
  REQUIRE(told.status == ClipStatus::measured);
  CHECK(told.shots.front().nock_high_deg->value == seen.shots.front().nock_high_deg->value);
  CHECK(told.shots.front().nock_high_deg->u95 == seen.shots.front().nock_high_deg->u95);
}
