#include "nocktrail/report/text.hpp"

#include <doctest/doctest.h>

#include <sstream>
#include <string>

#include "example_reading.hpp"

using namespace nocktrail;
using namespace nocktrail::report;

namespace {

TextOptions unbroken(Hand hand = Hand::right) {
  TextOptions options;
  options.hand = hand;
  options.arrow_length_given = true;
  options.width = 0;
  return options;
}

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("unit: a measured shot is told in words") {
  const std::string t = text(test::full_reading(), unbroken());
  CHECK(says(t, "nock left 2.41 ± 0.18 deg, nock high 0.8 ± 0.6 deg"));
  CHECK(says(t, "2 m past the arrow rest"));
  CHECK(says(t, "To the bow, cant 15 ± 6 deg (told): nock left 2.55 ± 0.20 deg"));
  CHECK(says(t, "Meaning: Reads weak."));
  CHECK(says(t, "95 % interval"));
  CHECK(says(t, "scatter between shots is not in it"));
  CHECK(says(t, "Next step: First film"));
  CHECK(says(t, "Caution: Local range rules"));
  CHECK(says(t, "240 frames a second by the file's tag"));
  CHECK_FALSE(says(t, "What to do"));
  CHECK(says(t, "Caution: the file was cut short"));
  Reading whole = test::full_reading();
  whole.clip.cut_short = false;
  CHECK_FALSE(says(text(whole, unbroken()), "cut short"));
}

TEST_CASE("unit: what was assumed is said, with the option that tells it") {
  Reading r = test::full_reading();
  r.camera.source = FocalSource::assumed;
  r.shots[0].bow->source = BowSource::assumed;
  TextOptions options = unbroken(Hand::unknown);
  options.arrow_length_given = false;
  const std::string t = text(r, options);
  CHECK(says(t, "--hand right or --hand left"));
  CHECK(says(t, "--picture-width"));
  CHECK(says(t, "--arrow-length"));
  CHECK(says(t, "--cant"));
  CHECK_FALSE(says(text(test::full_reading(), unbroken()), "--"));
}

TEST_CASE("unit: a refusal gives its reason, no number, and what to do") {
  Reading r = test::full_reading();
  r.status = ClipStatus::refused;
  r.reason = "The arrow shows in too few frames.";
  r.shots[0].status = ShotStatus::refused;
  r.shots[0].reason = r.reason;
  const std::string t = text(r, unbroken());
  CHECK(says(t, "refused"));
  CHECK(says(t, "Reason: The arrow shows in too few frames."));
  CHECK(says(t, "What to do: "));
  CHECK_FALSE(says(t, "2.41"));
  CHECK_FALSE(says(t, "slow motion"));
  r.clip.capture_fps = 30.0;
  CHECK(says(text(r, unbroken()), "slow motion"));
}

TEST_CASE("unit: no shot and unreadable say so") {
  Reading r = test::full_reading();
  r.shots.clear();
  r.status = ClipStatus::no_shot;
  r.reason = "Nothing left the bow.";
  CHECK(says(text(r, unbroken()), "Result: no shot found\n  Reason: Nothing left the bow."));
  r.status = ClipStatus::error;
  r.reason = "not a video";
  CHECK(says(text(r, unbroken()), "cannot be read as video\n  Reason: not a video"));
}

TEST_CASE("unit: plain lines of at most the width asked for") {
  TextOptions options = unbroken();
  options.width = 60;
  std::istringstream lines(text(test::full_reading(), options));
  for (std::string line; std::getline(lines, line);) {
    std::size_t columns = 0;
    for (const char c : line) {
      CHECK(static_cast<unsigned char>(c) >= 0x20);
      columns += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U ? 1U : 0U;
    }
    CHECK(columns <= 60);
  }
}

TEST_CASE("fault: a hostile file name cannot drive the terminal") {
  Reading r = test::full_reading();
  r.clip.path = "a\x1b[2Jb.mp4";
  CHECK_FALSE(says(text(r, unbroken()), "\x1b"));
}
