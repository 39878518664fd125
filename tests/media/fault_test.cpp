// Whatever is given, one clear line or a stream that ends: never a crash.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <random>
#include <string>

#include "nocktrail/error.hpp"
#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

// One line that names the file, says what to do, and speaks no library's language.
void check_refused(const std::filesystem::path& path, const std::string& about,
                   const OpenOptions& options = {}) {
  const std::string message = refusal_of(path, options);
  CAPTURE(path.string());
  CAPTURE(message);
  CHECK(message.find(about) != std::string::npos);
  CHECK(message.find(path.filename().string()) != std::string::npos);
  CHECK(message.find('\n') == std::string::npos);
  CHECK(message.find(';') != std::string::npos);  // what happened; what to do
  for (const char* jargon : {"libav", "AVERROR", "moov", "codec", "stream", "demux", "errno"}) {
    CHECK(message.find(jargon) == std::string::npos);
  }
}

TEST_CASE("files that are no video are refused in one line") {
  const Scratch scratch;
  check_refused(scratch.file("missing.mp4"), "no such file");
  check_refused(scratch.file(""), "folder");
  write_bytes(scratch.file("empty.mp4"), {});
  check_refused(scratch.file("empty.mp4"), "empty");
  const std::string prose = "Dear archer, this is a letter about arrows.\n";
  std::vector<char> text;
  for (int i = 0; i < 300; ++i) {
    text.insert(text.end(), prose.begin(), prose.end());
  }
  write_bytes(scratch.file("text.mp4"), text);
  check_refused(scratch.file("text.mp4"), "not a video");
  const std::string list = "ffconcat version 1.0\nfile 'text.mp4'\n";
  write_bytes(scratch.file("list.mp4"), {list.begin(), list.end()});
  check_refused(scratch.file("list.mp4"), "not a video");
  const std::string play_list = "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\ntext.mp4\n";
  write_bytes(scratch.file("playlist.mp4"), {play_list.begin(), play_list.end()});
  check_refused(scratch.file("playlist.mp4"), "not a video");
  std::mt19937 random(3);
  std::vector<char> noise(100000);
  std::generate(noise.begin(), noise.end(), [&] { return static_cast<char>(random()); });
  write_bytes(scratch.file("noise.mp4"), noise);
  CHECK_FALSE(refusal_of(scratch.file("noise.mp4")).empty());
  REQUIRE(::mkfifo(scratch.file("pipe.mp4").c_str(), 0600) == 0);
  check_refused(scratch.file("pipe.mp4"), "not an ordinary file");
  std::filesystem::create_symlink("loop.mp4", scratch.file("loop.mp4"));
  CHECK_FALSE(refusal_of(scratch.file("loop.mp4")).empty());
  if (::geteuid() == 0) {
    MESSAGE("skipped: the permission test says nothing when run by the superuser");
  } else {
    write_bytes(scratch.file("locked.mp4"), text);
    ::chmod(scratch.file("locked.mp4").c_str(), 0);
    check_refused(scratch.file("locked.mp4"), "permission");
  }
}

TEST_CASE("pictures, sound and absurd video are refused in one line") {
  const Scratch scratch;
  const std::string picture = "-f lavfi -i testsrc2=s=320x240 -frames:v 1 ";
  for (const char* name : {"still.png", "still.jpg", "still.webp", "still.bmp"}) {
    if (const auto path = scratch.make(name, picture)) {
      check_refused(*path, "still picture");
    }
  }
  const auto still = scratch.make("still.mp4", picture + "-c:v libx264");
  if (!still) {
    return;
  }
  check_refused(*still, "single picture");
  check_refused(*scratch.make("sound.mp4", "-f lavfi -i sine=d=1 -c:a aac"), "no video");
  check_refused(*scratch.make("sound.wav", "-f lavfi -i sine=d=1"), "not a video");
  check_refused(*scratch.make("covered.mp4",
                              fmt::format("-f lavfi -i sine=d=1 -i '{}' -map 0 -map 1 -c:a aac "
                                          "-c:v mjpeg -disposition:v attached_pic",
                                          scratch.file("still.jpg").string())),
                "no video");
  check_refused(*scratch.make("8k.mp4",
                              "-f lavfi -i color=black:s=7680x4320:r=30:d=0.1 "
                              "-c:v libx264 -preset ultrafast"),
                "too large");
  check_refused(*scratch.make("absurd.mp4",
                              "-f lavfi -i testsrc2=s=64x48:r=20000:d=0.01 "
                              "-c:v libx264 -video_track_timescale 1000000"),
                "frames a second");
  // A name with a line break still gives one line.
  const auto odd = scratch.file("two\nlines.mp4");
  CHECK(refusal_of(odd).find('\n') == std::string::npos);
  // And one that looks like a protocol of the library is only a name.
  CHECK(refusal_of("concat:a.mp4|b.mp4").find("no such file") != std::string::npos);
}

TEST_CASE("a clip cut short at any byte gives its whole frames or one line") {
  const Scratch scratch;
  for (const std::string flags :
       {"", "-movflags +faststart", "-movflags frag_keyframe+empty_moov"}) {
    CAPTURE(flags);
    const auto path =
        scratch.make("whole.mp4",
                     "-f lavfi -i testsrc2=s=96x64:r=60:d=1,noise=alls=10 -f lavfi -i sine=d=1 "
                     "-c:v libx264 -bf 2 -g 12 -c:a aac " +
                         flags);
    if (!path) {
      return;
    }
    const std::vector<char> bytes = bytes_of(*path);
    Clip whole = Clip::open(*path, {.threads = 1});
    const Seen all = read(whole, 0, {});
    const auto cut_path = scratch.file("cut.mp4");
    long opened = 0;
    constexpr std::size_t kCuts = 40;
    for (std::size_t i = 0; i < kCuts; ++i) {
      const std::size_t size = bytes.size() * i / kCuts;
      CAPTURE(size);
      write_bytes(cut_path, {bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(size)});
      if (!refusal_of(cut_path).empty()) {
        continue;
      }
      ++opened;
      Clip clip = Clip::open(cut_path, {.threads = 1});
      const Seen some = read(clip, 0, {});
      REQUIRE(some.hash.size() <= all.hash.size());
      // What comes is right and has its own time; a break is said. (Near the cut a frame may be
      // missing whose bytes lie behind those of the next one shown.)
      long wrong = 0;
      for (std::size_t k = 0; k < some.hash.size(); ++k) {
        const auto same_time = std::find_if(all.t_s.begin(), all.t_s.end(), [&](double t_s) {
          return std::abs(t_s - some.t_s[k]) < 1e-6;
        });
        REQUIRE(same_time != all.t_s.end());
        const auto original = static_cast<std::size_t>(same_time - all.t_s.begin());
        wrong += some.hash[k] != all.hash[original] ? 1 : 0;
      }
      CHECK(wrong == 0);
      if (flags == "-movflags +faststart" && some.hash.size() < all.hash.size()) {
        CHECK_FALSE(clip.broken().empty());
      }
      clip.sound();
    }
    if (!flags.empty()) {
      CHECK(opened > 15);  // these layouts can be read up to the cut
    }
  }
}

TEST_CASE("a damaged middle ends the clip there and says so; what lies behind can be sought") {
  const Scratch scratch;
  for (const std::string codec :
       {"libx264 -bf 2 -g 15", "libx265 -x265-params log-level=none:keyint=15"}) {
    CAPTURE(codec);
    const auto path =
        scratch.make("damaged.mp4",
                     "-f lavfi -i testsrc2=s=160x120:r=60:d=1,noise=alls=20:allf=t -c:v " + codec);
    if (!path) {
      return;
    }
    Clip whole = Clip::open(*path);
    const Seen all = read(whole, 0, {});
    std::vector<char> bytes = bytes_of(*path);
    const auto from = static_cast<std::ptrdiff_t>(bytes.size() / 2);
    std::fill(bytes.begin() + from, bytes.begin() + from + 3000, '\x55');
    write_bytes(*path, bytes);
    Clip clip = Clip::open(*path);
    const Seen some = read(clip, 0, {});
    CHECK(some.hash.size() > 15);
    CHECK(some.hash.size() < all.hash.size());
    CHECK_FALSE(clip.broken().empty());
    CHECK(clip.broken().find('\n') == std::string::npos);
    for (std::size_t i = 0; i < some.hash.size(); ++i) {
      CHECK(some.hash[i] == all.hash[i]);
    }
    const Seen last = read(clip, 50, {});
    REQUIRE(last.hash.size() == 10);
    CHECK(clip.broken().empty());
    CHECK(std::equal(last.hash.begin(), last.hash.end(), all.hash.begin() + 50));
  }
}

TEST_CASE("random damage never crashes") {
  const Scratch scratch;
  const std::string source = "-f lavfi -i testsrc2=s=80x64:r=60:d=0.5 -f lavfi -i sine=d=0.5 ";
  const struct {
    const char* name;
    std::string arguments;
  } clips[] = {{"h264.mp4", source + "-c:v libx264 -bf 2 -g 10 -c:a aac"},
               {"hevc.mp4", source + "-c:v libx265 -x265-params log-level=none:keyint=10 -c:a aac"},
               {"vp9.webm", source + "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -g 10"},
               {"av1.mp4", source + "-c:v libsvtav1 -preset 12 -g 10 -c:a aac"}};
  std::mt19937 random(7);
  for (const auto& made : clips) {
    const auto path = scratch.make(made.name, made.arguments);
    if (!path) {
      return;
    }
    const std::vector<char> bytes = bytes_of(*path);
    long readable = 0;
    for (int round = 0; round < 30; ++round) {
      std::vector<char> damaged = bytes;
      const unsigned long flips = 1 + random() % 20;
      for (unsigned long i = 0; i < flips; ++i) {
        damaged[random() % damaged.size()] ^= static_cast<char>(1 << (random() % 8));
      }
      const auto victim = scratch.file("victim");
      write_bytes(victim, damaged);
      try {
        Clip clip = Clip::open(victim, {.threads = round % 3});
        read(clip, 0, {.chroma = true});
        const long frames = static_cast<long>(clip.info().frame_t_s.size());
        CHECK(std::is_sorted(clip.info().frame_t_s.begin(), clip.info().frame_t_s.end()));
        read(clip, frames / 2, {.shrink = 4, .fast = true});
        clip.sound();
        ++readable;
      } catch (const UnreadableClip& refused) {
        CHECK(std::string(refused.what()).find('\n') == std::string::npos);
      }
    }
    CHECK(readable > 5);  // else this tests only the opening
  }
}

TEST_CASE("thousands of black frames are read, and memory does not grow with them") {
  const Scratch scratch;
  const auto path = scratch.make(
      "black.mp4", "-f lavfi -i color=black:s=320x240:r=240:d=25 -c:v libx264 -preset ultrafast");
  if (!path) {
    return;
  }
  const auto peak_kib = [] {
    rusage usage{};
    ::getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss;
  };
  Clip clip = Clip::open(*path);
  REQUIRE(clip.info().frame_t_s.size() == 6000);
  Frame frame;
  for (int i = 0; i < 100; ++i) {
    REQUIRE(clip.next(frame));
  }
  const long before = peak_kib();
  long count = 100;
  while (clip.next(frame)) {
    ++count;
  }
  CHECK(count == 6000);
  CHECK(clip.broken().empty());
  // The frames together would take 450 MB.
  CHECK(peak_kib() - before < 40000);
}

TEST_CASE("reference: the checksum is SHA-256") {
  const Scratch scratch;
  // FIPS 180-4, the example "abc" of NIST's example values.
  write_bytes(scratch.file("abc"), {'a', 'b', 'c'});
  CHECK(sha256_of_file(scratch.file("abc")) ==
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  std::vector<char> large((1 << 21) + 12345);
  std::mt19937 random(1);
  std::generate(large.begin(), large.end(), [&] { return static_cast<char>(random()); });
  write_bytes(scratch.file("large"), large);
  const std::string tool = output_of(fmt::format("sha256sum '{}'", scratch.file("large").string()));
  if (tool.size() < 64) {
    MESSAGE("skipped: the tool sha256sum is not installed");
  } else {
    CHECK(sha256_of_file(scratch.file("large")) == tool.substr(0, 64));
  }
  CHECK_THROWS_AS(sha256_of_file(scratch.file("missing")), UnreadableClip);
}

}  // namespace
}  // namespace nocktrail::media::testing
