// Films that the program makes, looked at by the ffmpeg tools.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "nocktrail/media/film.hpp"
#include "support.hpp"

using namespace nocktrail::media;
using namespace nocktrail::media::testing;

namespace {

// Frame k is of one grey but for a square of a colour that stands farther right each time.
cv::Mat picture(int k) {
  cv::Mat bgr(96, 160, CV_8UC3, cv::Scalar::all(60 + 10 * k));
  bgr(cv::Rect(8 * k, 32, 32, 32)).setTo(cv::Scalar(40, 60, 200));
  return bgr;
}

std::string film_of(int frames) {
  Film film(160, 96, 24);
  for (int k = 0; k < frames; ++k) {
    film.add(picture(k));
  }
  return film.finish();
}

void write(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

bool tools() {
  if (output_of("command -v ffprobe ffmpeg").empty()) {
    MESSAGE("skipped: the ffmpeg tools are not here");
    return false;
  }
  return true;
}

}  // namespace

TEST_CASE("reference: a film is what phones play, and its index comes first") {
  if (!tools()) {
    return;
  }
  const Scratch scratch;
  const std::filesystem::path path = scratch.file("film.mp4");
  const std::string bytes = film_of(12);
  write(path, bytes);
  const std::string said = output_of(fmt::format(
      "ffprobe -v error -count_frames -show_entries "
      "stream=codec_name,profile,pix_fmt,width,height,r_frame_rate,nb_read_frames,color_space,"
      "color_range,has_b_frames:format=format_name,duration -of default=nw=1 '{}'",
      path.string()));
  for (const char* line :
       {"codec_name=h264", "profile=High", "pix_fmt=yuv420p", "width=160", "height=96",
        "r_frame_rate=24/1", "nb_read_frames=12", "color_space=bt709", "color_range=tv",
        "has_b_frames=0", "duration=0.500000"}) {
    INFO(line);
    CHECK(said.find(std::string(line) + "\n") != std::string::npos);
  }
  CHECK(bytes.find("moov") < bytes.find("mdat"));
  // The same pictures make the same file.
  CHECK(film_of(12) == bytes);
}

TEST_CASE("reference: the colours that went in come out, by the ffmpeg tool") {
  if (!tools()) {
    return;
  }
  const Scratch scratch;
  const std::filesystem::path path = scratch.file("film.mp4");
  write(path, film_of(6));
  // Its own conversion, told nothing but what the file says.
  const std::vector<std::uint8_t> raw = ffmpeg_raw(scratch, path, "bgr24");
  REQUIRE(raw.size() == 6U * 160U * 96U * 3U);
  for (int k = 0; k < 6; ++k) {
    const cv::Mat want = picture(k);
    const auto at = [&](int x, int y) {
      const std::size_t place =
          3 * ((static_cast<std::size_t>(k) * 96U + static_cast<std::size_t>(y)) * 160U +
               static_cast<std::size_t>(x));
      return cv::Vec3i(raw[place], raw[place + 1], raw[place + 2]);
    };
    for (const auto& [x, y] : {std::pair(8 * k + 16, 48), std::pair(150, 10)}) {
      const cv::Vec3b& expected = want.at<cv::Vec3b>(y, x);
      const cv::Vec3i got = at(x, y);
      for (int channel = 0; channel < 3; ++channel) {
        CHECK(std::abs(got[channel] - int{expected[channel]}) <= 8);
      }
    }
  }
}

TEST_CASE("unit: a film of ours is told from any clip, and is never read as one") {
  const Scratch scratch;
  const std::string bytes = film_of(4);
  CHECK(is_own_film(bytes));
  CHECK(is_own_film(bytes.substr(0, 4096)));  // its head alone
  write(scratch.file("a.mp4"), bytes);
  const std::string why = refusal_of(scratch.file("a.mp4"));
  CHECK(why.find("is a replay that nocktrail made") != std::string::npos);
  CHECK(why.find("a.mp4") != std::string::npos);
  std::size_t clips = 0;
  for (const auto& entry : std::filesystem::directory_iterator(NOCKTRAIL_TEST_CLIPS)) {
    if (entry.path().extension() == ".mp4") {
      const std::vector<char> clip = bytes_of(entry.path());
      CHECK_FALSE(is_own_film({clip.data(), clip.size()}));
      ++clips;
    }
  }
  CHECK(clips > 5);
  // The mark elsewhere in a file makes it none of ours.
  CHECK_FALSE(is_own_film("nocktrail replay"));
  CHECK_FALSE(is_own_film(std::string(64, '\0') + "\xA9"
                                                  "cmt data nocktrail replay"));
}

TEST_CASE("fault: whatever a file's boxes say of themselves, asking is safe") {
  const std::string bytes = film_of(2).substr(0, 3000);
  for (std::size_t size = 0; size < bytes.size(); size += 7) {
    static_cast<void>(is_own_film(std::string_view(bytes).substr(0, size)));
  }
  for (std::size_t at = 0; at < bytes.size(); at += 3) {
    for (const char value : {'\0', '\1', '\x7f', '\xff'}) {
      std::string broken = bytes;
      broken[at] = value;
      static_cast<void>(is_own_film(broken));
    }
  }
  CHECK(is_own_film(bytes));
  CHECK_THROWS_AS(Film(161, 96, 24), std::invalid_argument);
  Film film(160, 96, 24);
  CHECK_THROWS_AS(film.add(cv::Mat(10, 10, CV_8UC3, cv::Scalar::all(0))), std::invalid_argument);
}
