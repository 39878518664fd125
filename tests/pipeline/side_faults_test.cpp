// What else moves before a camera beside the line, and the same shot seen mirrored, which is the
// shot of an archer of the other hand from the other side. The ffmpeg tool makes the changes.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>

#include "media/support.hpp"
#include "truth_file.hpp"

using namespace nocktrail;
using media::testing::quoted;
using media::testing::Scratch;

namespace {

const char* const kClip = "from-side/left-of-line.mp4";

const char* const kCodeAnew = "-c:v libx264 -preset veryfast -crf 10 -an";

// A plain body before the picture of the clip, at (x, y) px in frame n.
std::string with_body(const std::filesystem::path& clip, const std::string& colour,
                      const std::string& size, const std::string& x, const std::string& y) {
  return fmt::format(
      "-i {} -f lavfi -i color=c={}:s={}:r=240 -filter_complex "
      "\"[0:v][1:v]overlay=x='{}':y='{}':shortest=1\" -fps_mode passthrough {}",
      quoted(clip), colour, size, x, y, kCodeAnew);
}

}  // namespace

TEST_CASE("metamorphic: a mirrored clip from the side is the same shot from the other side") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const Scratch scratch;
  const auto mirrored = scratch.make(
      "mirrored.mp4",
      fmt::format("-i {} -vf hflip -fps_mode passthrough {}", quoted(truth.clip), kCodeAnew));
  if (!mirrored) {
    return;
  }
  const Reading a = read_clip(truth.clip, truth.options);
  ReadClipOptions other = truth.options;
  other.hand = truth.options.hand == Hand::right ? Hand::left : Hand::right;
  const Reading b = read_clip(*mirrored, other);
  CAPTURE(b.reason);
  REQUIRE(a.status == ClipStatus::measured);
  REQUIRE(b.status == ClipStatus::measured);
  const Shot& as_filmed = a.shots.front();
  const Shot& turned = b.shots.front();
  CHECK(turned.view == View::side);
  // The same pictures but for the coding: far nearer to each other than either may be wrong.
  CHECK(std::abs(turned.nock_high_deg->value - as_filmed.nock_high_deg->value) <
        0.6 * as_filmed.nock_high_deg->u95);
  CHECK(turned.speed_mps->value == doctest::Approx(as_filmed.speed_mps->value).epsilon(0.05));
  CHECK(std::abs(turned.nock_high_deg->value - truth.shots.front().nock_high_deg) <=
        turned.nock_high_deg->u95);
}

TEST_CASE("fault: who walks, drives or waves past a shot from the side does not turn its reading") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const double is_deg = truth.shots.front().nock_high_deg;
  const Scratch scratch;
  struct Case {
    const char* name;
    const char* colour;
    const char* size;
    const char* x;
    const char* y;
  };
  // Of 720 rows; a walker of 1.5 m/s, a car of 50 km/h at 12 m, an arm that swings twice a second.
  for (const Case& one : {Case{"walker", "0x40342c", "160x540", "200+2*n", "180"},
                          Case{"car", "0x9c2a20", "420x140", "-200+7*n", "540"},
                          Case{"car above", "0x9c2a20", "420x110", "-200+7*n", "0"},
                          Case{"arm", "0xc08a6a", "46x280", "600+150*sin(n*0.052)", "330"}}) {
    CAPTURE(one.name);
    const auto clip = scratch.make(std::string(one.name) + ".mp4",
                                   with_body(truth.clip, one.colour, one.size, one.x, one.y));
    if (!clip) {
      return;
    }
    const Reading reading = read_clip(*clip, truth.options);
    MESSAGE(std::string(one.name) << ": "
                                  << (reading.status == ClipStatus::measured ? "measured"
                                                                             : reading.reason));
    if (reading.status != ClipStatus::measured) {
      CHECK_FALSE(reading.reason.empty());
      continue;
    }
    for (const Shot& shot : reading.shots) {
      REQUIRE(shot.nock_high_deg);
      CHECK(std::abs(shot.nock_high_deg->value - is_deg) <= shot.nock_high_deg->u95);
      CHECK_FALSE(shot.nock_right_deg);
    }
  }
}

TEST_CASE("fault: what passes an archer who does not loose is no shot") {
  const test::ClipTruth truth = test::committed_clip(kClip);
  const Scratch scratch;
  // The frames before the loose, over and over, and what flies like a ball or drives before them.
  constexpr double kStroke_s = 0.03;  // longer than any
  const int before = static_cast<int>((truth.shots.front().exit_s - kStroke_s) * 240.0);
  REQUIRE(before > 20);
  const auto still = scratch.make(
      "still.mp4", fmt::format("-i {} -vf trim=end_frame={},loop=3:size={}:start=0,setpts=N/240/TB "
                               "-r 240 {}",
                               quoted(truth.clip), before, before, kCodeAnew));
  if (!still) {
    return;
  }
  struct Case {
    const char* name;
    const char* size;
    const char* x;
    const char* y;
  };
  for (const Case& one : {Case{"car", "420x140", "-200+7*n", "500"},
                          Case{"ball", "30x30", "30+24*n", "300+0.06*pow(n-28\\,2)"},
                          Case{"walker", "160x540", "200+2*n", "180"}}) {
    CAPTURE(one.name);
    const auto clip = scratch.make(std::string("no-") + one.name + ".mp4",
                                   with_body(*still, "0x30506c", one.size, one.x, one.y));
    if (!clip) {
      return;
    }
    const Reading reading = read_clip(*clip, truth.options);
    CHECK(reading.status != ClipStatus::measured);
    CHECK_FALSE(reading.reason.empty());
  }
}
