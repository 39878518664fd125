#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <string>
#include <utility>

#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

// Capture time of the first sample whose size is above the level.
double onset_s(const Sound& sound, float level) {
  for (std::size_t i = 0; i < sound.samples.size(); ++i) {
    if (std::abs(sound.samples[i]) > level) {
      return sound.start_t_s + static_cast<double>(i) * sound.s_per_sample;
    }
  }
  return -1.0;
}

// Silence, then a 1 kHz tone from 0.5 s on.
const std::string kTone = "-f lavfi -i aevalsrc='gte(t\\,0.5)*0.8*sin(2*PI*1000*t)':s=48000:d=1 ";
const std::string kPicture = "-f lavfi -i testsrc2=s=64x48:r=30:d=1 ";

TEST_CASE("an onset in the sound is found where it was put") {
  const Scratch scratch;
  const struct {
    const char* name;
    std::string codecs;
    double tolerance_s;
  } clips[] = {{"pcm.mov", "-c:v libx264 -c:a pcm_s16le", 0.0005},
               {"aac.mp4", "-c:v libx264 -c:a aac -b:a 128k", 0.003},
               {"opus.webm", "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -c:a libopus", 0.005},
               {"b_frames.mp4", "-c:v libx264 -bf 3 -c:a aac -b:a 128k", 0.003}};
  for (const auto& clip : clips) {
    CAPTURE(clip.name);
    const auto path = scratch.make(clip.name, kPicture + kTone + clip.codecs + " -map 0 -map 1");
    if (!path) {
      return;
    }
    const Clip opened = Clip::open(*path);
    CHECK(opened.info().has_audio);
    const auto sound = opened.sound();
    REQUIRE(sound);
    CHECK(sound->sample_rate_hz == 16000.0);
    CHECK(sound->s_per_sample == doctest::Approx(1.0 / 16000.0));
    CHECK(onset_s(*sound, 0.2F) == doctest::Approx(0.5).epsilon(0.0001 + clip.tolerance_s));
    // About a second of it, at about the size it was made.
    CHECK(static_cast<double>(sound->samples.size()) == doctest::Approx(16000.0).epsilon(0.05));
  }
}

TEST_CASE("sound and picture that start apart keep their distance") {
  const Scratch scratch;
  // The sound starts 0.3 s after the picture, so the tone comes 0.8 s after the first frame.
  const auto late = scratch.make("late.mov", kPicture + "-itsoffset 0.3 " + kTone +
                                                 "-map 0 -map 1 -c:v libx264 -c:a pcm_s16le");
  if (!late) {
    return;
  }
  const auto late_sound = Clip::open(*late).sound();
  REQUIRE(late_sound);
  CHECK(onset_s(*late_sound, 0.2F) == doctest::Approx(0.8).epsilon(0.001));
  // The picture starts 0.3 s after the sound: the tone comes 0.2 s after the first frame.
  const auto early =
      scratch.make("early.mov", "-itsoffset 0.3 " + kPicture + kTone +
                                    "-map 0 -map 1 -vsync passthrough -c:v libx264 -c:a pcm_s16le");
  const auto early_sound = Clip::open(*early).sound();
  REQUIRE(early_sound);
  CHECK(onset_s(*early_sound, 0.2F) == doctest::Approx(0.2).epsilon(0.003));
}

TEST_CASE("sound of a stretched clip is in capture time") {
  const Scratch scratch;
  const auto path = scratch.make(
      "slow.mov", kPicture + kTone +
                      "-map 0 -map 1 -c:v libx264 -c:a pcm_s16le -movflags use_metadata_tags "
                      "-metadata com.android.capture.fps=240");
  if (!path) {
    return;
  }
  const auto sound = Clip::open(*path).sound(8000.0);
  REQUIRE(sound);
  CHECK(sound->sample_rate_hz == 8000.0);
  CHECK(sound->s_per_sample == doctest::Approx(0.125 / 8000.0));
  CHECK(onset_s(*sound, 0.2F) == doctest::Approx(0.5 / 8.0).epsilon(0.002));
}

// What a process of its own took at most, in MB, to listen to the clip.
long peak_mb(const std::filesystem::path& path) {
  const pid_t child = ::fork();
  if (child == 0) {
    static_cast<void>(Clip::open(path, {.threads = 1}).sound());
    ::_exit(0);
  }
  int status = 0;
  rusage used{};
  ::wait4(child, &status, 0, &used);
  CHECK(WIFEXITED(status));
  return used.ru_maxrss / 1024;  // getrusage(2): kilobytes
}

TEST_CASE("fault: sound at a rate that no recorder has is not listened to") {
  const Scratch scratch;
  for (const auto& [said, heard] : {std::pair{"384000", true}, std::pair{"8000000", false}}) {
    const char* rate = said;  // clang 14 captures no name of a structured binding
    CAPTURE(rate);
    const auto path = scratch.make(
        fmt::format("{}.mkv", rate),
        kPicture + fmt::format("-f lavfi -i aevalsrc='sin(2*PI*1000*t)':s={}:d=1 ", rate) +
            "-map 0 -map 1 -c:v libx264 -c:a pcm_s16le");
    if (!path) {
      return;
    }
    CHECK(Clip::open(*path).sound().has_value() == heard);
  }
}

TEST_CASE("fault: a long hole in the sound takes no more memory than the silence that it gives") {
  const Scratch scratch;
  // 40 s of nothing at 384 kHz on eight channels of 4 bytes: 490 MB at once, 2.6 MB as it is given.
  const std::string sound =
      "-f lavfi -i \"aevalsrc='sin(2*PI*1000*t)|0|0|0|0|0|0|0':s=384000:d=1,asetpts={}\" "
      "-map 0 -map 1 -c:v libx264 -c:a pcm_s32le";
  const auto whole = scratch.make("whole.mkv", kPicture + fmt::format(fmt::runtime(sound), "PTS"));
  const auto hole = scratch.make(
      "hole.mkv",
      kPicture + fmt::format(fmt::runtime(sound), "'if(gt(T\\,0.5)\\,PTS+40/TB\\,PTS)'"));
  if (!whole || !hole) {
    return;
  }
  const auto heard = Clip::open(*hole).sound();
  REQUIRE(heard);
  CHECK(static_cast<double>(heard->samples.size()) ==
        doctest::Approx(41.0 * 16000.0).epsilon(0.05));
  CHECK(peak_mb(*hole) - peak_mb(*whole) < 60);
}

TEST_CASE("no sound is no error, and a low rate is kept") {
  const Scratch scratch;
  const auto mute = scratch.make("mute.mp4", kPicture + "-c:v libx264");
  if (!mute) {
    return;
  }
  CHECK_FALSE(Clip::open(*mute).info().has_audio);
  CHECK_FALSE(Clip::open(*mute).sound().has_value());
  const auto sound = Clip::open(phone_clip("sample_sef_slow_motion.mp4")).sound();
  REQUIRE(sound);
  CHECK(sound->sample_rate_hz == 12000.0);
}

}  // namespace
}  // namespace nocktrail::media::testing
