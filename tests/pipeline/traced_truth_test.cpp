// Films whose pictures somebody else's code made (tools/pathtraced), against their truth: the first
// of a seed, as they came, committed before they were read.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>

#include "truth_file.hpp"

using namespace nocktrail;

namespace {

bool holds(const Measured& measured, double truth, const char* what, const std::string& name) {
  MESSAGE(fmt::format("{}: {} {:.2f} +- {:.2f}, truth {:.2f}", name, what, measured.value,
                      measured.u95, truth));
  return std::abs(measured.value - truth) <= measured.u95;
}

}  // namespace

TEST_CASE("truth: path-traced films are read with intervals that hold, on no wrong side") {
  int clips = 0;
  int measured = 0;
  int held = 0;
  for (const test::ClipTruth& truth : test::committed_clips("traced")) {
    ++clips;
    const std::string name = truth.clip.filename().string();
    CAPTURE(name);
    const Reading reading = read_clip(truth.clip, truth.options);
    if (reading.status != ClipStatus::measured) {
      CHECK_FALSE(reading.reason.empty());
      continue;
    }
    ++measured;
    REQUIRE(reading.shots.size() == 1);
    const Shot& shot = reading.shots.front();
    const test::ShotTruth& is = truth.shots.front();
    CHECK(shot.view == View::behind);
    held += holds(*shot.nock_right_deg, is.nock_right_deg, "right", name) ? 1 : 0;
    held += holds(*shot.nock_high_deg, is.nock_high_deg, "high", name) ? 1 : 0;
    // A side that is told for sure is the right one.
    if (std::abs(shot.nock_right_deg->value) > shot.nock_right_deg->u95) {
      CHECK(shot.nock_right_deg->value * is.nock_right_deg > 0.0);
    }
  }
  CHECK(clips == 3);
  // In the two others a bright arrow over a grey floor, or over sand of its brightness, is not
  // seen.
  CHECK(measured >= 1);
  // Intervals that hold 80 % would miss two of six or more one time in three.
  CHECK(held >= 2 * measured - 1);
}
