// What a change of the file must do to the reading, whatever the reading is. The ffmpeg tool makes
// the changes.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "media/support.hpp"
#include "truth_file.hpp"

using namespace nocktrail;
using media::testing::quoted;
using media::testing::Scratch;

namespace {

const Shot& only_shot(const Reading& reading) {
  CAPTURE(reading.reason);
  REQUIRE(reading.status == ClipStatus::measured);
  REQUIRE(reading.shots.size() == 1);
  return reading.shots.front();
}

// Coding anew adds noise of its own to noise that the two share: they differ by less than one of
// them may be wrong.
void check_alike(const Measured& a, const Measured& b, double sign = 1.0) {
  CAPTURE(a.value);
  CAPTURE(b.value);
  CHECK(std::abs(a.value - sign * b.value) < 0.6 * std::max(a.u95, b.u95));
}

const char* const kClip = "shaky.mp4";

const char* const kCodeAnew = "-c:v libx264 -preset veryfast -crf 10 -c:a copy";

}  // namespace

TEST_CASE("truth: a mirrored clip gives the mirrored reading") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const Scratch scratch;
  const auto mirrored = scratch.make(
      "mirrored.mp4",
      fmt::format("-i {} -vf hflip -fps_mode passthrough {}", quoted(truth.clip), kCodeAnew));
  if (!mirrored) {
    return;
  }
  ReadClipOptions other = truth.options;
  other.hand = truth.options.hand == Hand::right ? Hand::left : Hand::right;
  const Reading a = read_clip(truth.clip, truth.options);
  const Reading b = read_clip(*mirrored, other);
  check_alike(*only_shot(a).nock_right_deg, *only_shot(b).nock_right_deg, -1.0);
  check_alike(*only_shot(a).nock_high_deg, *only_shot(b).nock_high_deg);
  // Mirrored archer, mirrored side: the same spine.
  CHECK(only_shot(a).verdict.spine == only_shot(b).verdict.spine);
}

TEST_CASE("truth: a still second before the shot changes nothing but the time") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const Scratch scratch;
  const auto later = scratch.make(
      "later.mp4",
      fmt::format("-i {} -vf tpad=start_duration=1:start_mode=clone -fps_mode passthrough -an "
                  "-c:v libx264 -preset veryfast -crf 10",
                  quoted(truth.clip)));
  if (!later) {
    return;
  }
  const Reading a = read_clip(truth.clip, truth.options);
  const Reading b = read_clip(*later, truth.options);
  CHECK(b.clip.duration_s == doctest::Approx(a.clip.duration_s + 1.0).epsilon(0.01));
  CHECK(*only_shot(b).exit_s - *only_shot(a).exit_s == doctest::Approx(1.0).epsilon(0.003));
  check_alike(*only_shot(a).nock_right_deg, *only_shot(b).nock_right_deg);
  check_alike(*only_shot(a).nock_high_deg, *only_shot(b).nock_high_deg);
}

TEST_CASE(
    "truth: stretched to 30 frames a second, with the tag or the user's word, reads the same") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const Scratch scratch;
  const std::string copy = fmt::format("-itsscale 8 -i {} -an -c:v copy", quoted(truth.clip));
  const auto tagged = scratch.make(
      "tagged.mp4",
      copy + " -movflags use_metadata_tags -metadata com.android.capture.fps=240.000000");
  const auto untagged = scratch.make("untagged.mp4", copy);
  if (!tagged || !untagged) {
    return;
  }
  const Reading a = read_clip(truth.clip, truth.options);
  const Reading b = read_clip(*tagged, truth.options);
  CHECK(b.clip.capture_fps_source == RateSource::tag);
  ReadClipOptions told = truth.options;
  told.capture_fps = 240.0;
  const Reading c = read_clip(*untagged, told);
  CHECK(c.clip.capture_fps_source == RateSource::user);
  for (const Reading* reading : {&b, &c}) {
    // The pictures are the same, bit for bit; only where the search begins may differ.
    check_alike(*only_shot(a).nock_right_deg, *only_shot(*reading).nock_right_deg);
    check_alike(*only_shot(a).nock_high_deg, *only_shot(*reading).nock_high_deg);
    CHECK(only_shot(*reading).speed_mps->value ==
          doctest::Approx(only_shot(a).speed_mps->value).epsilon(0.03));
    CHECK(*only_shot(*reading).exit_s == doctest::Approx(*only_shot(a).exit_s).epsilon(0.02));
  }
  // And without either, it says what it needs instead of a number.
  const Reading d = read_clip(*untagged, truth.options);
  CHECK(d.status == ClipStatus::refused);
  CHECK(d.reason.find("at what rate it was filmed") != std::string::npos);
}

// A chronograph's word outranks the picture; one in another unit, or of another arrow, would turn
// the reading by degrees.
TEST_CASE("truth: a told speed that does not go with the picture is left out, and said") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const double true_mps = truth.shots.front().speed_mps;
  const Reading untold = read_clip(truth.clip, truth.options);
  for (const auto& [of_truth, at_odds] :
       {std::pair(1.0, false), std::pair(1.5, true), std::pair(0.6, true)}) {
    const double share = of_truth;  // clang 14 captures no structured binding
    CAPTURE(share);
    const bool expected = at_odds;
    ReadClipOptions told = truth.options;
    told.speed_mps = share * true_mps;
    const Reading reading = read_clip(truth.clip, told);
    const Shot& shot = only_shot(reading);
    const auto& cautions = shot.verdict.cautions;
    CHECK(std::any_of(cautions.begin(), cautions.end(), [](const std::string& caution) {
            return caution.find("does not go with what the clip shows") != std::string::npos;
          }) == expected);
    if (at_odds) {
      check_alike(*shot.nock_right_deg, *only_shot(untold).nock_right_deg);
      check_alike(*shot.nock_high_deg, *only_shot(untold).nock_high_deg);
    } else {
      CHECK(shot.speed_mps->u95 < only_shot(untold).speed_mps->u95);
    }
  }
}
