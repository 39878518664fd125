// Films whose pictures somebody else's code made, against their truth: the first of a seed, as they
// came. Those of tools/pathtraced were committed before they were read; those of `apart` are by
// somebody who had seen neither the clip maker nor the program, from the conventions of
// docs/measurement.md alone, with a flight, a bow, an archer and a phone of their own.
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

struct Films {
  int clips = 0;
  int measured = 0;
  int held = 0;  // intervals, of two a clip
};

Films read_all(const char* folder) {
  Films films;
  for (const test::ClipTruth& truth : test::committed_clips(folder)) {
    ++films.clips;
    const std::string name = truth.clip.filename().string();
    CAPTURE(name);
    const Reading reading = read_clip(truth.clip, truth.options);
    if (reading.status != ClipStatus::measured) {
      CHECK_FALSE(reading.reason.empty());
      continue;
    }
    ++films.measured;
    REQUIRE(reading.shots.size() == 1);
    const Shot& shot = reading.shots.front();
    const test::ShotTruth& is = truth.shots.front();
    CHECK(shot.view == View::behind);
    films.held += holds(*shot.nock_right_deg, is.nock_right_deg, "right", name) ? 1 : 0;
    films.held += holds(*shot.nock_high_deg, is.nock_high_deg, "high", name) ? 1 : 0;
    // A side that is told for sure is the right one.
    if (std::abs(shot.nock_right_deg->value) > shot.nock_right_deg->u95) {
      CHECK(shot.nock_right_deg->value * is.nock_right_deg > 0.0);
    }
  }
  return films;
}

}  // namespace

TEST_CASE("truth: path-traced films are read with intervals that hold, on no wrong side") {
  const Films films = read_all("traced");
  CHECK(films.clips == 3);
  // In the two others a bright arrow over a grey floor, or over sand of its brightness, is not
  // seen.
  CHECK(films.measured >= 1);
  // Intervals that hold 80 % would miss two of six or more one time in three.
  CHECK(films.held >= 2 * films.measured - 1);
}

TEST_CASE("truth: films of a renderer apart are read with intervals that hold, on no wrong side") {
  const Films films = read_all("apart");
  CHECK(films.clips == 6);
  CHECK(films.measured >= 4);
  // Intervals that hold 80 % would miss two of eight or more one time in two.
  CHECK(films.held >= 2 * films.measured - 1);
}
