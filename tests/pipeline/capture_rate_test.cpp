// What the file's own rate rules out is refused before anything is looked at, unless the file makes
// slow motion plausible.
#include "capture_rate.hpp"

#include <doctest/doctest.h>
#include <fmt/format.h>

#include <string>

#include "media/support.hpp"
#include "nocktrail/pipeline/read_clip.hpp"

using namespace nocktrail;
using media::testing::Scratch;

namespace {

media::ClipInfo plays_at(double fps, std::optional<double> sound_share) {
  media::ClipInfo info;
  info.container_fps = fps;
  info.capture_fps = fps;
  info.duration_s = 8.0;
  info.has_audio = sound_share.has_value();
  info.sound_share = sound_share;
  return info;
}

struct Read {
  Reading reading;
  bool looked = false;  // progress is told of whatever costs time
};

Read read(const std::filesystem::path& path, const ReadClipOptions& options = {}) {
  Read read;
  read.reading = read_clip(path, options, [&](const std::string&, double) {
    read.looked = true;
    return true;
  });
  return read;
}

bool says(const Reading& reading, const std::string& words) {
  return reading.reason.find(words) != std::string::npos;
}

const char* const kMoving = "-f lavfi -i testsrc2=s=320x240:r=30:d=2 ";
const char* const kCode = " -c:v libx264 -preset ultrafast -c:a aac";

}  // namespace

TEST_CASE("unit: which clips may be slow motion stretched for play") {
  CHECK_FALSE(pipeline::may_be_stretched(plays_at(30.0, 1.0)));
  CHECK_FALSE(pipeline::may_be_stretched(plays_at(60.0, 1.01)));
  CHECK(pipeline::may_be_stretched(plays_at(30.0, std::nullopt)));  // sound was dropped
  CHECK(pipeline::may_be_stretched(plays_at(60.0, 0.125)));         // or left as it was
  CHECK_FALSE(pipeline::may_be_stretched(plays_at(240.0, 0.125)));
  media::ClipInfo tagged = plays_at(30.0, std::nullopt);
  tagged.capture_fps_source = RateSource::tag;
  CHECK_FALSE(pipeline::may_be_stretched(tagged));
  media::ClipInfo told = plays_at(30.0, 0.125);
  told.capture_fps_source = RateSource::user;
  CHECK_FALSE(pipeline::may_be_stretched(told));
  // Of a short clip, a coder's padding is a large share.
  media::ClipInfo brief = plays_at(30.0, 0.8);
  brief.duration_s = 0.3;
  CHECK_FALSE(pipeline::may_be_stretched(brief));
  // A container that does not say how long the sound is gives no ground for doubt.
  media::ClipInfo silent = plays_at(30.0, std::nullopt);
  silent.has_audio = true;
  CHECK_FALSE(pipeline::may_be_stretched(silent));
}

TEST_CASE("fault: an ordinary clip with sound is refused by its rate, nothing looked at") {
  const Scratch scratch;
  const auto ordinary =
      scratch.make("ordinary.mp4", std::string(kMoving) + "-f lavfi -i sine=r=48000:d=2" + kCode);
  if (!ordinary) {
    return;
  }
  const Read plain = read(*ordinary);
  CHECK(plain.reading.status == ClipStatus::refused);
  CHECK_FALSE(plain.looked);
  CHECK(says(plain.reading, "30 frames a second are too few"));
  // Both of what it may be, each with what to do.
  CHECK(says(plain.reading, "film in slow motion"));
  CHECK(says(plain.reading, "original file"));
  CHECK(says(plain.reading, "at what rate it was filmed"));
  CHECK(plain.reading.clip.sha256.size() == 64);

  // The user's word settles it, either way.
  ReadClipOptions told;
  told.capture_fps = 30.0;
  const Read slow = read(*ordinary, told);
  CHECK(slow.reading.status == ClipStatus::refused);
  CHECK_FALSE(slow.looked);
  CHECK_FALSE(says(slow.reading, "at what rate it was filmed"));
  told.capture_fps = 240.0;
  CHECK(read(*ordinary, told).looked);
}

TEST_CASE("fault: a tag that names an ordinary rate rules the clip out") {
  const Scratch scratch;
  const auto tagged = scratch.make(
      "tagged.mp4", std::string(kMoving) + kCode +
                        " -movflags use_metadata_tags -metadata com.android.capture.fps=30.000000");
  if (!tagged) {
    return;
  }
  const Read plain = read(*tagged);
  CHECK(plain.reading.status == ClipStatus::refused);
  CHECK_FALSE(plain.looked);
  CHECK(says(plain.reading, "too few"));
}

TEST_CASE("fault: a clip whose sound was dropped, or is not as long as its picture, is looked at") {
  const Scratch scratch;
  const auto mute = scratch.make("mute.mp4", std::string(kMoving) + kCode);
  const auto short_sound = scratch.make(
      "short-sound.mp4", std::string(kMoving) + "-f lavfi -i sine=r=48000:d=0.25" + kCode);
  if (!mute || !short_sound) {
    return;
  }
  for (const auto& path : {*mute, *short_sound}) {
    CAPTURE(path.filename().string());
    const Read stretched = read(path);
    CHECK(stretched.looked);
    CHECK(stretched.reading.status == ClipStatus::refused);
    CHECK(says(stretched.reading, "too few"));
    CHECK(says(stretched.reading, "at what rate it was filmed"));
  }
}
