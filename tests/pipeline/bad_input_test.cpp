// Whatever is given as a clip: one clear line with the file's name, the right exit status, the
// other clips still read, nothing half-written.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "media/support.hpp"
#include "nocktrail/error.hpp"
#include "truth_file.hpp"

using namespace nocktrail;
namespace fs = std::filesystem;
using media::testing::bytes_of;
using media::testing::Scratch;
using media::testing::write_bytes;

namespace {

const char* const kGood = "upside-down.mp4";

struct Case {
  fs::path path;
  std::string about;  // a word the reason must hold; empty: any
};

// A Motion-JPEG AVI whose every size, in the headers and in each picture, is set to zero.
std::optional<fs::path> zero_size(const Scratch& scratch) {
  const auto made =
      scratch.make("zero-size.avi", "-f lavfi -i testsrc2=s=176x144:r=60:d=0.5 -c:v mjpeg -q:v 5");
  if (!made) {
    return std::nullopt;
  }
  std::vector<char> bytes = bytes_of(*made);
  const auto same = [&](std::size_t at, const std::string& word) {
    return at + word.size() <= bytes.size() &&
           std::equal(word.begin(), word.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
  };
  const auto clear = [&](std::size_t at, std::size_t count) {
    for (std::size_t i = at; i < std::min(at + count, bytes.size()); ++i) {
      bytes[i] = 0;
    }
  };
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    if (same(at, "avih")) {
      clear(at + 8 + 32, 8);  // AVIMAINHEADER: dwWidth, dwHeight
    } else if (same(at, "strf")) {
      clear(at + 8 + 4, 8);  // BITMAPINFOHEADER: biWidth, biHeight
    } else if (same(at, "\xff\xc0")) {
      clear(at + 5, 4);  // ITU-T T.81, B.2.2: frame header, Y and X after Lf and P
    }
  }
  write_bytes(*made, bytes);
  return made;
}

// Everything that is no clip at all: status error.
std::vector<Case> unreadable(const Scratch& scratch) {
  std::vector<Case> cases = {{scratch.file("missing.mp4"), "no such file"}};
  write_bytes(scratch.file("empty.mp4"), {});
  cases.push_back({scratch.file("empty.mp4"), "empty"});
  const std::string prose = "Bring six arrows and the short bow on Sunday.\n";
  std::vector<char> text;
  for (int i = 0; i < 200; ++i) {
    text.insert(text.end(), prose.begin(), prose.end());
  }
  write_bytes(scratch.file("renamed.mp4"), text);
  cases.push_back({scratch.file("renamed.mp4"), ""});
  fs::create_directory(scratch.file("folder.mp4"));
  cases.push_back({scratch.file("folder.mp4"), "folder"});
  std::vector<char> half = bytes_of(test::committed_clip(kGood).clip);
  half.resize(3000);
  write_bytes(scratch.file("truncated.mp4"), half);
  cases.push_back({scratch.file("truncated.mp4"), ""});
  const auto add = [&](const std::optional<fs::path>& made) {
    if (made) {
      cases.push_back({*made, ""});
    }
  };
  add(scratch.make("audio-only.mp4", "-f lavfi -i sine=r=48000:d=1 -c:a aac"));
  add(scratch.make("8k.mp4",
                   "-f lavfi -i color=gray:s=7680x4320:r=30:d=0.1 -c:v libx264 -preset ultrafast"));
  add(scratch.make("absurd-rate.mp4",
                   "-f lavfi -i testsrc2=s=320x240:r=30:d=1 -vf setpts=N/90000/TB -r 90000 "
                   "-video_track_timescale 90000 -c:v libx264 -preset ultrafast"));
  add(zero_size(scratch));
  return cases;
}

struct Ran {
  int status = -1;
  std::string out;
  std::string err;
};

Ran nocktrail_read(const Scratch& scratch, const std::string& arguments) {
  const fs::path out = scratch.file("stdout.txt");
  const fs::path err = scratch.file("stderr.txt");
  const int raw = std::system(fmt::format("'{}' read {} >'{}' 2>'{}' </dev/null", NOCKTRAIL_PROGRAM,
                                          arguments, out.string(), err.string())
                                  .c_str());
  const std::vector<char> said = bytes_of(out);
  const std::vector<char> complained = bytes_of(err);
  return {WIFEXITED(raw) ? WEXITSTATUS(raw) : -1,
          {said.begin(), said.end()},
          {complained.begin(), complained.end()}};
}

void check_reason(const Reading& reading, const Case& bad) {
  CAPTURE(bad.path.filename().string());
  CAPTURE(reading.reason);
  CHECK(reading.status == ClipStatus::error);
  CHECK(reading.shots.empty());
  CHECK(reading.reason.find('\n') == std::string::npos);
  CHECK(reading.reason.find(bad.path.filename().string()) != std::string::npos);
  CHECK(reading.reason.find(bad.about) != std::string::npos);
}

}  // namespace

TEST_CASE("fault: what is no clip comes back as an error in one line that names the file") {
  const Scratch scratch;
  for (const Case& bad : unreadable(scratch)) {
    check_reason(read_clip(bad.path, {}), bad);
  }
}

TEST_CASE("fault: a file without permission") {
  const Scratch scratch;
  const fs::path locked = scratch.file("locked.mp4");
  fs::copy_file(test::committed_clip(kGood).clip, locked);
  REQUIRE(::chmod(locked.c_str(), 0) == 0);
  REQUIRE(::chmod(locked.parent_path().c_str(), 0755) == 0);
  // The superuser may read everything: become nobody for a moment.
  const bool was_root = ::geteuid() == 0;
  if (was_root) {
    REQUIRE(::setresuid(65534, 65534, 0) == 0);
  }
  const Reading reading = read_clip(locked, {});
  if (was_root) {
    REQUIRE(::setresuid(0, 0, 0) == 0);
  }
  check_reason(reading, {locked, "permission"});
}

TEST_CASE("fault: two thousand frames of black hold no shot") {
  const Scratch scratch;
  const auto black = scratch.make(
      "black.mp4",
      "-f lavfi -i color=black:s=640x360:r=240 -frames:v 2000 -c:v libx264 -preset ultrafast");
  if (!black) {
    return;
  }
  const Reading reading = read_clip(*black, {});
  CHECK(reading.status == ClipStatus::no_shot);
  CHECK(reading.shots.empty());
  CHECK(reading.clip.frames == 2000);
  CHECK_FALSE(reading.reason.empty());
}

TEST_CASE("fault: a clip that breaks off before its end is read as far as it goes") {
  const Scratch scratch;
  const test::ClipTruth good = test::committed_clip(kGood);
  // A container with its index first, so that half a file still opens.
  const auto whole = scratch.make(
      "whole.mp4", fmt::format("-i '{}' -c copy -movflags +faststart", good.clip.string()));
  if (!whole) {
    return;
  }
  std::vector<char> bytes = bytes_of(*whole);
  bytes.resize(bytes.size() * 3 / 10);  // well before the loose
  write_bytes(scratch.file("broken.mp4"), bytes);
  const Reading reading = read_clip(scratch.file("broken.mp4"), good.options);
  CAPTURE(reading.reason);
  CHECK(reading.status != ClipStatus::measured);
  CHECK_FALSE(reading.reason.empty());
}

TEST_CASE(
    "fault: one good clip among the bad is read, the status is the highest, nothing is left over") {
  const Scratch scratch;
  const std::vector<Case> bad = unreadable(scratch);
  const test::ClipTruth good = test::committed_clip(kGood);
  std::string all;
  for (std::size_t i = 0; i < bad.size(); ++i) {
    all += fmt::format(" '{}'", bad[i].path.string());
    if (i == bad.size() / 2) {
      all += fmt::format(" '{}'", good.clip.string());
    }
  }
  const fs::path outputs = scratch.file("outputs");
  fs::create_directory(outputs);
  const Ran ran = nocktrail_read(
      scratch,
      fmt::format(
          "--hand right --arrow-length {:.4f}m --focal-35mm {:.3f} --json '{}' --still '{}' {}",
          *good.options.arrow_length_m, *good.options.focal_35mm, (outputs / "all.json").string(),
          (outputs / "all.png").string(), all));
  CHECK(ran.status == 4);
  CHECK(ran.out.find("nock") != std::string::npos);
  const std::vector<char> json = bytes_of(outputs / "all.json");
  const auto j = nlohmann::json::parse(json.begin(), json.end());
  REQUIRE(j.size() == bad.size() + 1);
  int measured = 0;
  for (const auto& reading : j) {
    measured += reading.at("status") == "measured" ? 1 : 0;
  }
  CHECK(measured == 1);
  // Each bad file has its line.
  for (const Case& one : bad) {
    CHECK(ran.err.find(one.path.filename().string()) != std::string::npos);
  }
  // The JSON and the good clip's still, and nothing half-written beside them.
  std::vector<std::string> left;
  for (const auto& entry : fs::directory_iterator(outputs)) {
    left.push_back(entry.path().filename().string());
  }
  std::sort(left.begin(), left.end());
  CHECK(left ==
        std::vector<std::string>{fmt::format("all-{}.png", good.clip.stem().string()), "all.json"});
}

TEST_CASE("fault: readable but without a shot is 3, and 4 outranks it") {
  const Scratch scratch;
  const auto plain = scratch.make(
      "plain.mp4", "-f lavfi -i testsrc2=s=320x240:r=240:d=1 -c:v libx264 -preset ultrafast");
  if (!plain) {
    return;
  }
  CHECK(nocktrail_read(scratch, fmt::format("'{}'", plain->string())).status == 3);
  CHECK(nocktrail_read(scratch, fmt::format("no-such.mp4 '{}'", plain->string())).status == 4);
}

TEST_CASE("unit: options out of range are refused before any work") {
  const fs::path clip = test::committed_clip(kGood).clip;
  ReadClipOptions options;
  options.arrow_length_m = 3.0;
  CHECK_THROWS_AS(read_clip(clip, options), BadInput);
  options = {};
  options.cant_deg = 120.0;
  CHECK_THROWS_AS(read_clip(clip, options), BadInput);
  options = {};
  options.focal_35mm = -26.0;
  CHECK_THROWS_AS(read_clip(clip, options), BadInput);
  options = {};
  options.dead_band_deg = -0.1;
  CHECK_THROWS_AS(read_clip(clip, options), BadInput);
}

TEST_CASE("unit: progress that says stop stops") {
  CHECK_THROWS_AS(read_clip(test::committed_clip(kGood).clip, {},
                            [](const std::string&, double) { return false; }),
                  Interrupted);
}

TEST_CASE("reference: real phones' clips without archery never give a number") {
  const fs::path folder = fs::path(NOCKTRAIL_TEST_CLIPS) / "phone";
  int read = 0;
  for (const auto& entry : fs::directory_iterator(folder)) {
    if (entry.path().extension() != ".mp4") {
      continue;
    }
    const Reading reading = read_clip(entry.path(), {});
    CAPTURE(entry.path().filename().string());
    CAPTURE(reading.reason);
    CHECK((reading.status == ClipStatus::no_shot || reading.status == ClipStatus::refused));
    CHECK_FALSE(reading.reason.empty());
    for (const Shot& shot : reading.shots) {
      CHECK(shot.status == ShotStatus::refused);
    }
    ++read;
  }
  CHECK(read == 8);
}
