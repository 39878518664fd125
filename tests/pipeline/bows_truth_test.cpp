// Bows of many kinds, hand and cant untold: what the picture shows of them, against the truth. The
// clips were chosen by what is drawn (test-clips/README.md) and read afterwards.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>

#include "truth_file.hpp"

using namespace nocktrail;

TEST_CASE("truth: bows of many kinds, their cant seen, and nothing said that is not so") {
  int clips = 0;
  int measured = 0;
  int seen = 0;
  int held = 0;
  for (test::ClipTruth truth : test::committed_clips("bows")) {
    ++clips;
    truth.options.hand = Hand::unknown;
    const Reading reading = read_clip(truth.clip, truth.options);
    if (reading.status != ClipStatus::measured) {
      CHECK_FALSE(reading.reason.empty());
      continue;
    }
    ++measured;
    const Shot& shot = reading.shots.front();
    const test::ShotTruth& is = truth.shots.front();
    REQUIRE(shot.bow);
    INFO(fmt::format(
        "{}: right {:.2f} +- {:.2f}, truth {:.2f}; cant {:.1f} +- {:.1f}, truth {:.1f}",
        truth.clip.filename().string(), shot.nock_right_deg->value, shot.nock_right_deg->u95,
        is.nock_right_deg, shot.bow->cant_deg.value, shot.bow->cant_deg.u95, truth.cant_deg));
    // A wrong side beyond the dead band is never said.
    if (std::abs(is.nock_right_deg) > 0.5) {
      CHECK(shot.nock_right_deg->value * is.nock_right_deg > 0.0);
    }
    CHECK(shot.bow->hand == Hand::unknown);
    CHECK(shot.verdict.spine == SpineVerdict::unclear);
    if (shot.bow->source == BowSource::seen) {
      ++seen;
      const double error_deg = std::abs(shot.bow->cant_deg.value - truth.cant_deg);
      held += error_deg <= shot.bow->cant_deg.u95 ? 1 : 0;
      CHECK(error_deg < 6.0);  // twice the 3 deg r.m.s. that is asked of bent and swinging ones
    }
  }
  CHECK(clips == 7);
  CHECK(measured >= 5);
  CHECK(seen >= 4);
  CHECK(held >= seen - 1);  // intervals that hold 80 % would fail this one time in four
}
