// A frame reached by seeking is the frame that reading from the start gives.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <random>
#include <string>
#include <thread>
#include <vector>

#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

void check_seeks(const std::filesystem::path& path, int rounds = 25) {
  INFO(path.string());
  Clip clip = Clip::open(path);
  const ReadOptions options{.chroma = true};
  const Seen all = read(clip, 0, options);
  REQUIRE(clip.broken().empty());
  const long frames = static_cast<long>(clip.info().frame_t_s.size());
  REQUIRE(static_cast<long>(all.index.size()) == frames);

  std::mt19937 random(20);
  std::vector<long> targets = {0, frames - 1, 1, frames / 2, frames / 2 + 1, frames / 2 + 3, 0};
  for (int i = 0; i < rounds; ++i) {
    targets.push_back(static_cast<long>(random() % static_cast<unsigned long>(frames)));
  }
  for (const long target : targets) {
    if (target >= frames) {
      continue;
    }
    CAPTURE(target);
    const Seen some = read(clip, target, options, 4);
    CHECK(clip.broken().empty());
    REQUIRE(static_cast<long>(some.index.size()) == std::min(4L, frames - target));
    for (std::size_t i = 0; i < some.index.size(); ++i) {
      CHECK(some.index[i] == target + static_cast<long>(i));
      CHECK(some.hash[i] == all.hash[static_cast<std::size_t>(some.index[i])]);
    }
  }
  // Looking fast changes the picture, not which frame it is or when.
  const Seen fast = read(clip, 0, {.shrink = 4, .fast = true});
  CHECK(fast.index == all.index);
  CHECK(fast.t_s == all.t_s);
  // And after it, measuring quality again.
  CHECK(read(clip, frames / 3, options, 2).hash[0] ==
        all.hash[static_cast<std::size_t>(frames / 3)]);

  // The picture does not depend on the number of threads.
  Clip single = Clip::open(path, {.threads = 1});
  CHECK(read(single, 0, options).hash == all.hash);
}

TEST_CASE("seeking equals sequential reading, phone containers") {
  for (const char* name : {"h265_with_metadata_track.mp4", "iibbibb_editlist_videoonly.mp4",
                           "sample_android_slow_motion.mp4", "sample_rotate_and_reflect.mp4",
                           "sample_sef_slow_motion.mp4", "hlg10-color-test.mp4"}) {
    check_seeks(phone_clip(name), 4);
  }
}

TEST_CASE("seeking equals sequential reading, every codec, closed and open groups, edit lists") {
  const Scratch scratch;
  const std::string source = "-f lavfi -i testsrc2=s=144x96:r=60:d=1.6,noise=alls=15:allf=t ";
  const struct {
    const char* name;
    std::string arguments;
  } clips[] = {
      {"closed.mp4", source + "-c:v libx264 -bf 3 -g 16"},
      {"open.mp4", source + "-c:v libx264 -x264-params "
                            "open-gop=1:keyint=12:min-keyint=12:bframes=3:scenecut=0:b-adapt=0"},
      {"refresh.mp4", source + "-c:v libx264 -x264-params intra-refresh=1:keyint=15:bframes=0"},
      {"one_key.mp4", source + "-c:v libx264 -g 1000"},
      {"hevc.mp4", source + "-pix_fmt yuv420p10le -c:v libx265 -preset fast "
                            "-x265-params log-level=none:keyint=16:open-gop=1:bframes=4"},
      {"vp9.webm", source + "-c:v libvpx-vp9 -cpu-used 5 -auto-alt-ref 1 -lag-in-frames 16 -g 24"},
      {"av1.mp4", source + "-c:v libsvtav1 -preset 12 -g 24"},
      {"stream.ts", source + "-c:v libx264 -bf 2 -g 16"},
      {"matroska.mkv", source + "-c:v libx264 -bf 2 -g 16"},
      {"fragmented.mp4", source + "-c:v libx264 -bf 2 -g 16 -movflags frag_keyframe+empty_moov"}};
  for (const auto& clip : clips) {
    if (const auto path = scratch.make(clip.name, clip.arguments)) {
      check_seeks(*path);
    }
  }
  for (const char* from : {"closed.mp4", "open.mp4", "hevc.mp4"}) {
    if (const auto path =
            scratch.make(fmt::format("cut_{}", from),
                         fmt::format("-ss 0.71 -i '{}' -c copy", scratch.file(from).string()))) {
      check_seeks(*path);
    }
  }
}

TEST_CASE("a kept picture is not overwritten by the next one") {
  const Scratch scratch;
  const auto path = scratch.make(
      "a.mp4", "-f lavfi -i testsrc2=s=64x48:r=30:d=0.5,noise=alls=20:allf=t -c:v libx264");
  if (!path) {
    return;
  }
  Clip clip = Clip::open(*path);
  Frame frame;
  REQUIRE(clip.next(frame));
  const cv::Mat kept = frame.luma;
  const std::uint64_t before = hash_of(kept);
  REQUIRE(clip.next(frame));
  CHECK(hash_of(kept) == before);
  CHECK(hash_of(frame.luma) != before);
  // Out of range is the end, not an error.
  clip.seek(15, {});
  CHECK_FALSE(clip.next(frame));
  CHECK(clip.broken().empty());
  clip.seek(14, {});
  CHECK(clip.next(frame));
}

TEST_CASE("two clips may be open at once in different threads") {
  const Scratch scratch;
  const auto one = scratch.make("1.mp4", "-f lavfi -i testsrc2=s=96x64:r=60:d=1 -c:v libx264");
  const auto two = scratch.make("2.mp4", "-f lavfi -i mandelbrot=s=96x64:r=60 -t 1 -c:v libx264");
  if (!one || !two) {
    return;
  }
  const auto whole = [](const std::filesystem::path& path) {
    Clip clip = Clip::open(path);
    return read(clip, 0, {}).hash;
  };
  const auto first = whole(*one);
  const auto second = whole(*two);
  std::vector<std::vector<std::uint64_t>> got(4);
  {
    std::vector<std::jthread> threads;
    for (std::size_t i = 0; i < got.size(); ++i) {
      threads.emplace_back([&, i] { got[i] = whole(i % 2 == 0 ? *one : *two); });
    }
  }
  for (std::size_t i = 0; i < got.size(); ++i) {
    CHECK(got[i] == (i % 2 == 0 ? first : second));
  }
}

}  // namespace
}  // namespace nocktrail::media::testing
