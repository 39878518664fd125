// Frame lists, times and pixels against the ffprobe and ffmpeg tools of the FFmpeg project.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <numeric>
#include <string>
#include <vector>

#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

void check_against_ffprobe(const std::filesystem::path& path, int stream) {
  INFO(path.string());
  const auto probed = ffprobe(path, stream);
  if (!probed) {
    return;
  }
  REQUIRE(probed->pts.size() >= 2);
  Clip clip = Clip::open(path);
  const ClipInfo& info = clip.info();
  CHECK(info.stored_width == probed->width);
  CHECK(info.stored_height == probed->height);
  REQUIRE(info.frame_t_s.size() == probed->pts.size());
  std::vector<std::int64_t> pts = probed->pts;
  std::sort(pts.begin(), pts.end());
  double worst_s = 0.0;
  for (std::size_t i = 0; i < pts.size(); ++i) {
    const double play_s = static_cast<double>(pts[i] - pts[0]) * probed->time_base_s;
    worst_s = std::max(worst_s, std::abs(info.frame_t_s[i] - play_s * info.capture_s_per_play_s));
  }
  // A clock too coarse for the rate is rounded; that is taken back (even_ticks), by half a tick of
  // each frame and of the first, from which all count.
  std::int64_t tick = 0;
  for (std::size_t i = 0; i + 1 < pts.size(); ++i) {
    tick = std::gcd(tick, pts[i + 1] - pts[i]);
  }
  const double tick_s = static_cast<double>(tick) * probed->time_base_s;
  const bool coarse = tick_s > 0.02 / info.container_fps && tick_s < 0.45 / info.container_fps;
  CHECK(worst_s < (coarse ? 1.4 * tick_s * info.capture_s_per_play_s + 1e-9 : 1e-9));
  // What is decoded is what the table says, one for one.
  const Seen seen = read(clip, 0, {});
  CHECK(clip.broken().empty());
  REQUIRE(seen.index.size() == info.frame_t_s.size());
  for (std::size_t i = 0; i < seen.index.size(); ++i) {
    CHECK(seen.index[i] == static_cast<long>(i));
    CHECK(seen.t_s[i] == info.frame_t_s[i]);
  }
}

// Luma bit for bit against the tool's own decoding and turning. For 8-bit planar formats only:
// the first plane then passes the tool unchanged.
void check_luma_against_ffmpeg(const std::filesystem::path& path, const std::string& format,
                               double bytes_per_pixel) {
  INFO(path.string());
  const Scratch scratch;
  const std::vector<std::uint8_t> raw = ffmpeg_raw(scratch, path, format);
  if (raw.empty()) {
    return;
  }
  Clip clip = Clip::open(path);
  const int width = clip.info().width;
  const int height = clip.info().height;
  const auto frame_bytes = static_cast<std::size_t>(bytes_per_pixel * width * height);
  REQUIRE(raw.size() == frame_bytes * clip.info().frame_t_s.size());
  clip.seek(0, {});
  Frame frame;
  while (clip.next(frame)) {
    REQUIRE(frame.luma.size() == cv::Size(width, height));
    const std::uint8_t* expected = raw.data() + static_cast<std::size_t>(frame.index) * frame_bytes;
    bool same = true;
    for (int row = 0; row < height; ++row) {
      same = same && std::equal(expected + row * width, expected + (row + 1) * width,
                                frame.luma.ptr<std::uint8_t>(row));
    }
    CHECK_MESSAGE(same, "frame ", frame.index);
  }
}

TEST_CASE("reference: phone containers give ffprobe's frames and times") {
  const struct {
    const char* name;
    int stream;
  } clips[] = {{"h265_with_metadata_track.mp4", 2},   {"hlg10-color-test.mp4", 1},
               {"iibbibb_editlist_videoonly.mp4", 0}, {"pixel7_videoOnly_cleaned.mp4", 0},
               {"sample_android_slow_motion.mp4", 0}, {"sample_edit_list.mp4", 0},
               {"sample_rotate_and_reflect.mp4", 0},  {"sample_sef_slow_motion.mp4", 1}};
  for (const auto& clip : clips) {
    check_against_ffprobe(phone_clip(clip.name), clip.stream);
  }
}

TEST_CASE("reference: phone containers give the ffmpeg tool's pixels, turned as it turns them") {
  const struct {
    const char* name;
    const char* format;
    double bytes_per_pixel;
  } clips[] = {{"h265_with_metadata_track.mp4", "yuvj420p", 1.5},
               {"iibbibb_editlist_videoonly.mp4", "yuv444p", 3.0},
               {"pixel7_videoOnly_cleaned.mp4", "yuvj420p", 1.5},
               {"sample_android_slow_motion.mp4", "yuvj420p", 1.5},
               {"sample_rotate_and_reflect.mp4", "yuv420p", 1.5},
               {"sample_sef_slow_motion.mp4", "yuv420p", 1.5}};
  for (const auto& clip : clips) {
    check_luma_against_ffmpeg(phone_clip(clip.name), clip.format, clip.bytes_per_pixel);
  }
}

TEST_CASE("reference: made clips of each codec and trap give ffprobe's frames and times") {
  const Scratch scratch;
  const std::string source = "-f lavfi -i testsrc2=s=176x144:r=60:d=1.5 ";
  const struct {
    const char* name;
    std::string arguments;
  } clips[] = {
      {"b_frames.mp4", source + "-c:v libx264 -bf 3 -g 20"},
      {"open_gop.mp4",
       source + "-c:v libx264 -x264-params open-gop=1:keyint=15:bframes=3:scenecut=0"},
      {"hevc_hlg.mp4", source + "-pix_fmt yuv420p10le -color_trc arib-std-b67 -c:v libx265 "
                                "-x265-params log-level=none:keyint=20:open-gop=1"},
      {"vp9.webm", source + "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -g 20"},
      {"vp9_alt_ref.webm", source + "-c:v libvpx-vp9 -cpu-used 5 -auto-alt-ref 1 -lag-in-frames 16 "
                                    "-b:v 200k -g 40"},
      {"av1.mp4", source + "-c:v libsvtav1 -preset 12 -g 20"},
      {"mpeg_ts.ts", source + "-c:v libx264 -bf 2 -g 20"},
      {"matroska.mkv", source + "-c:v libx264 -bf 2 -g 20"},
      {"variable.mp4", source + "-vf select='not(mod(n\\,3))+not(mod(n\\,7))' -vsync vfr "
                                "-c:v libx264 -bf 2 -g 20"},
      {"fragmented.mp4", source + "-c:v libx264 -bf 2 -g 20 -movflags frag_keyframe+empty_moov"}};
  for (const auto& clip : clips) {
    if (const auto path = scratch.make(clip.name, clip.arguments)) {
      check_against_ffprobe(*path, 0);
    }
  }
  // Cutting without re-encoding between key frames leaves an edit list: the frames from the key
  // frame to the cut are needed for decoding but not shown.
  if (const auto path = scratch.make(
          "edit_list.mp4",
          fmt::format("-ss 0.52 -i '{}' -c copy", scratch.file("b_frames.mp4").string()))) {
    check_against_ffprobe(*path, 0);
    Clip clip = Clip::open(*path);
    CHECK(clip.info().frame_t_s.size() < 90);
  }
  // An empty edit: the picture starts later than the sound.
  if (const auto path =
          scratch.make("late_picture.mp4",
                       fmt::format("-f lavfi -i sine=d=1.5 -itsoffset 0.25 -i '{}' -map 0 -map 1 "
                                   "-c:v copy -c:a aac",
                                   scratch.file("b_frames.mp4").string()))) {
    check_against_ffprobe(*path, 1);
  }
}

TEST_CASE("reference: pixels of 8-bit clips equal the ffmpeg tool's") {
  const Scratch scratch;
  const std::string source = "-f lavfi -i testsrc2=s=174x142:r=30:d=0.5 ";
  const struct {
    const char* name;
    std::string arguments;
    const char* format;
    double bytes_per_pixel;
  } clips[] = {{"420.mp4", source + "-pix_fmt yuv420p -c:v libx264", "yuv420p", 1.5},
               {"422.mp4", source + "-pix_fmt yuv422p -c:v libx264", "yuv422p", 2.0},
               {"444.mp4", source + "-pix_fmt yuv444p -c:v libx264", "yuv444p", 3.0},
               {"grey.mkv", source + "-pix_fmt gray -c:v ffv1", "gray", 1.0}};
  for (const auto& clip : clips) {
    if (const auto path = scratch.make(clip.name, clip.arguments)) {
      check_luma_against_ffmpeg(*path, clip.format, clip.bytes_per_pixel);
    }
  }
}

TEST_CASE("the real video is chosen among several tracks") {
  const Scratch scratch;
  // A thumbnail first and marked default, a cover picture last.
  const auto cover = scratch.make("cover.jpg", "-f lavfi -i testsrc2=s=640x480 -frames:v 1");
  if (!cover) {
    return;
  }
  const auto two = scratch.make(
      "two.mp4",
      fmt::format("-f lavfi -i testsrc2=s=64x48:r=30:d=1 -f lavfi -i sine=d=1 "
                  "-f lavfi -i testsrc2=s=320x240:r=60:d=1 -i '{}' -map 0 -map 1 -map 2 -map 3 "
                  "-c:v libx264 -c:v:2 mjpeg -c:a aac -disposition:v:0 default "
                  "-disposition:v:1 0 -disposition:v:2 attached_pic",
                  cover->string()));
  Clip clip = Clip::open(*two);
  CHECK(clip.info().width == 320);
  CHECK(clip.info().codec == "h264");
  CHECK(clip.info().frame_t_s.size() == 60);
  CHECK(clip.info().has_audio);
  check_against_ffprobe(*two, 2);

  // Of two real tracks the default one; a short one of larger stills (as in motion photos) is out.
  const auto pair = scratch.make(
      "pair.mkv",
      "-f lavfi -i testsrc2=s=320x240:r=30:d=1 -f lavfi -i testsrc2=s=240x180:r=30:d=1 "
      "-f lavfi -i testsrc2=s=640x480:r=30:d=0.1 -map 0 -map 1 -map 2 -c:v libx264 "
      "-disposition:v:0 0 -disposition:v:1 default -disposition:v:2 0");
  CHECK(Clip::open(*pair).info().width == 240);
  const auto motion = scratch.make(
      "motion.mp4",
      "-f lavfi -i testsrc2=s=640x480:r=30:d=0.1 -f lavfi -i testsrc2=s=320x240:r=30:d=1 "
      "-map 0 -map 1 -c:v libx264");
  CHECK(Clip::open(*motion).info().width == 320);
}

}  // namespace
}  // namespace nocktrail::media::testing
