// Which rate is taken for the capture rate, and what the times are then. The tag's meaning: public
// documentation of the Android MediaRecorder ("capture rate") and the phone clips themselves.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include "frame_table.hpp"
#include "nocktrail/error.hpp"
#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

std::string clip_of(const std::string& rate, const std::string& tag) {
  const std::string tags =
      tag.empty() ? "" : " -movflags use_metadata_tags -metadata com.android.capture.fps=" + tag;
  return fmt::format("-f lavfi -i testsrc2=s=64x48:r={}:d=1 -c:v libx264 -bf 2{}", rate, tags);
}

TEST_CASE("the tag stretches a clip stored for slow play") {
  const Scratch scratch;
  const auto path = scratch.make("slow.mp4", clip_of("30", "240"));
  if (!path) {
    return;
  }
  const Clip clip = Clip::open(*path);
  const ClipInfo& info = clip.info();
  CHECK(info.tag_fps == 240.0);
  CHECK(info.capture_fps == 240.0);
  CHECK(info.capture_fps_source == RateSource::tag);
  CHECK(info.container_fps == doctest::Approx(30.0));
  CHECK(info.capture_s_per_play_s == doctest::Approx(0.125));
  REQUIRE(info.frame_t_s.size() == 30);
  CHECK(info.frame_t_s[8] == doctest::Approx(8.0 / 240.0));
  CHECK(info.duration_s == doctest::Approx(30.0 / 240.0));

  // The user outranks the tag.
  const Clip told = Clip::open(*path, {.capture_fps = 120.0});
  CHECK(told.info().capture_fps == 120.0);
  CHECK(told.info().capture_fps_source == RateSource::user);
  CHECK(told.info().frame_t_s[8] == doctest::Approx(8.0 / 120.0));
}

TEST_CASE("a tag that names the container's own rate stretches nothing") {
  const Scratch scratch;
  const auto path = scratch.make("same.mp4", clip_of("30000/1001", "30"));
  if (!path) {
    return;
  }
  const Clip clip = Clip::open(*path);
  CHECK(clip.info().capture_fps == 30.0);
  CHECK(clip.info().capture_fps_source == RateSource::tag);
  CHECK(clip.info().capture_s_per_play_s == 1.0);
  CHECK(clip.info().frame_t_s[3] == doctest::Approx(3.0 * 1001.0 / 30000.0));
}

TEST_CASE("without a tag, or with an absurd one, the container's rate holds") {
  const Scratch scratch;
  for (const std::string tag : {"", "0", "-240", "nan", "1e30", "fast"}) {
    CAPTURE(tag);
    const auto path = scratch.make("plain.mp4", clip_of("240", tag));
    if (!path) {
      return;
    }
    const Clip clip = Clip::open(*path);
    CHECK(clip.info().capture_fps == doctest::Approx(240.0));
    CHECK(clip.info().capture_fps_source == RateSource::container);
    CHECK(clip.info().capture_s_per_play_s == 1.0);
  }
}

TEST_CASE("when a clip was filmed, by its own tag") {
  // Expected: what ffprobe prints for the phone's file, 2020-10-30T12:14:50Z, and what the ffmpeg
  // tool is told, 2026-05-03T06:30:00Z; in seconds by GNU date.
  CHECK(filmed_at(phone_clip("sample_sef_slow_motion.mp4")) == 1604060090);
  const Scratch scratch;
  const std::string frames = "-f lavfi -i testsrc=s=64x48:d=0.2 -pix_fmt yuv420p ";
  if (const auto path =
          scratch.make("zone.mp4", frames + "-metadata creation_time=2026-05-03T08:30:00+02:00")) {
    CHECK(filmed_at(*path) == 1777789800);
    CHECK_FALSE(filmed_at(scratch.file("missing.mp4")));
    CHECK_FALSE(filmed_at(*scratch.make("untold.mp4", frames)));
    CHECK_FALSE(filmed_at(
        *scratch.make("unset.mp4", frames + "-metadata creation_time=1970-01-01T00:00:00Z")));
  }
}

TEST_CASE("fault: a tag's date beyond the calendar is no date, and the clip is read all the same") {
  const Scratch scratch;
  const auto dated = [&](const std::string& date) {
    return scratch.make("far.mp4",
                        "-f lavfi -i testsrc=s=64x48:d=0.2 -pix_fmt yuv420p -movflags "
                        "use_metadata_tags -metadata creation_time=" +
                            date);
  };
  if (const auto path = dated("9999-12-31T23:59:59Z")) {
    CHECK(filmed_at(*path) == 253402300799);  // by GNU date
    for (const std::string date :
         {"12000-01-01T00:00:00Z", "292471208677-01-01T00:00:00Z", "2026-13-45T99:99:99Z",
          "-2026-01-01T00:00:00Z", "1e300", "yesterday"}) {
      CAPTURE(date);
      CHECK_FALSE(filmed_at(*dated(date)));
      CHECK(Clip::open(*path).info().frame_t_s.size() == 5);
    }
  }
}

TEST_CASE("phone containers: rate and source") {
  const Clip held = Clip::open(phone_clip("sample_android_slow_motion.mp4"));
  CHECK(held.info().capture_fps == 240.0);
  CHECK(held.info().capture_fps_source == RateSource::tag);
  CHECK(held.info().container_fps == doctest::Approx(30.0));  // not disturbed by the long hold
  REQUIRE(held.info().frame_t_s.size() == 7);
  CHECK(held.info().uneven_share == doctest::Approx(1.0 / 6.0));
  for (std::size_t i = 2; i < 7; ++i) {
    CHECK(held.info().frame_t_s[i] - held.info().frame_t_s[i - 1] == doctest::Approx(1.0 / 240.0));
  }
  const Clip stretched = Clip::open(phone_clip("sample_sef_slow_motion.mp4"));
  CHECK(stretched.info().capture_fps == 240.0);
  CHECK(stretched.info().capture_s_per_play_s == doctest::Approx(0.125));
  const Clip ordinary = Clip::open(phone_clip("h265_with_metadata_track.mp4"));
  CHECK(ordinary.info().capture_fps == 30.0);
  CHECK(ordinary.info().capture_fps_source == RateSource::tag);
  CHECK(ordinary.info().capture_s_per_play_s == 1.0);
}

TEST_CASE("the container's rate survives coarse time bases, holds and lost frames") {
  std::vector<std::int64_t> milliseconds;
  std::vector<std::int64_t> six_hundredths;
  std::vector<std::int64_t> lossy;
  for (int i = 0; i < 481; ++i) {
    milliseconds.push_back((i * 1000 + 120) / 240);
    six_hundredths.push_back((i * 600 + 120) / 240);
    if (i % 10 != 3 && i != 100 && i != 101) {
      lossy.push_back(i * 375 + (i > 0 ? 29281 : 0));
    }
  }
  CHECK(robust_pace(milliseconds, {1, 1000}).rate_hz == doctest::Approx(240.0).epsilon(0.001));
  CHECK(robust_pace(six_hundredths, {1, 600}).rate_hz == doctest::Approx(240.0).epsilon(0.001));
  CHECK(robust_pace(lossy, {1, 90000}).rate_hz == doctest::Approx(240.0).epsilon(1e-6));
}

// 240 frames a second in a container's own clock, and back: what rounding took is at most half a
// tick, and no frame is off by a twentieth of that afterwards.
TEST_CASE("unit: the rounding of a coarse clock is taken back, and nothing else") {
  const auto rounded = [](double rate_hz, double ticks_per_s, bool drops) {
    std::vector<std::int64_t> pts;
    for (int i = 0; i < 200; ++i) {
      if (!drops || (i % 23 != 7 && i != 100 && i != 101)) {
        pts.push_back(std::llround(i / rate_hz * ticks_per_s + 0.3));
      }
    }
    return pts;
  };
  for (const double ticks_per_s : {1000.0, 600.0}) {
    for (const bool drops : {false, true}) {
      CAPTURE(ticks_per_s);
      CAPTURE(drops);
      const std::vector<double> even = even_ticks(rounded(240.0, ticks_per_s, drops));
      double worst = 0.0;
      std::size_t at = 0;
      for (int i = 0; i < 200; ++i) {
        if (!drops || (i % 23 != 7 && i != 100 && i != 101)) {
          worst = std::max(worst, std::abs(even[at++] - i / 240.0 * ticks_per_s));
        }
      }
      CHECK(worst < 0.05);
    }
  }
  // Stamps that are exact, and a phone whose frames really come unevenly, stay as told.
  std::vector<std::int64_t> exact = rounded(240.0, 90000.0, true);
  std::vector<std::int64_t> uneven;
  for (int i = 0; i < 200; ++i) {
    uneven.push_back(static_cast<std::int64_t>(i / 240.0 * 1000.0 + 1.6 * std::sin(0.4 * i)));
  }
  for (const std::vector<std::int64_t>& pts : {exact, uneven}) {
    const std::vector<double> told = even_ticks(pts);
    for (std::size_t i = 0; i < pts.size(); ++i) {
      CHECK(told[i] == doctest::Approx(static_cast<double>(pts[i] - pts[0])).epsilon(1e-12));
    }
  }
}

TEST_CASE("a rate from the user that is no rate is refused in one line") {
  for (const double rate : {0.0, -30.0, std::numeric_limits<double>::quiet_NaN(),
                            std::numeric_limits<double>::infinity()}) {
    CHECK_THROWS_AS(Clip::open("any.mp4", {.capture_fps = rate}), BadInput);
  }
}

}  // namespace
}  // namespace nocktrail::media::testing
