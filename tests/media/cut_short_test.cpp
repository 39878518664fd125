// A file that ends before its own account does is said to.
#include <doctest/doctest.h>

#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/media/extent.hpp"
#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

const std::string kPlain =
    "-f lavfi -i testsrc2=s=96x64:r=60:d=2,noise=alls=10 -f lavfi -i sine=d=2 ";

TEST_CASE("fault: a clip that was cut short is known to be, a whole one is not") {
  const Scratch scratch;
  struct Row {
    const char* name;
    std::string codecs;
  };
  for (const Row& row : std::vector<Row>{
           {"start.mp4", "-c:v libx264 -g 12 -c:a aac -movflags +faststart"},
           {"parts.mp4", "-c:v libx264 -g 12 -c:a aac -movflags frag_keyframe+empty_moov"},
           {"clip.mkv", "-c:v libx264 -g 12 -c:a aac"},
           {"clip.webm", "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -c:a libopus"},
           {"clip.avi", "-c:v mpeg4 -g 12 -c:a mp3"},
       }) {
    CAPTURE(row.name);
    const auto path = scratch.make(row.name, kPlain + row.codecs);
    if (!path) {
      return;
    }
    CHECK_FALSE(extent_of(*path).ends_early);
    CHECK_FALSE(Clip::open(*path).info().cut_short);
    const std::vector<char> bytes = bytes_of(*path);
    const auto cut = scratch.file("cut");
    int opened = 0;
    for (const double share : {0.5, 0.7, 0.9, 0.99}) {
      const auto size = static_cast<std::ptrdiff_t>(share * static_cast<double>(bytes.size()));
      write_bytes(cut, {bytes.begin(), bytes.begin() + size});
      if (refusal_of(cut).empty()) {
        ++opened;
        CAPTURE(share);
        CHECK(Clip::open(cut).info().cut_short);
      }
    }
    CHECK(opened >= 3);
    // The very last byte, and what some phones hang on behind.
    write_bytes(cut, {bytes.begin(), bytes.end() - 1});
    CHECK(extent_of(cut).ends_early);
    std::vector<char> more = bytes;
    const std::string trailer = "SEFH\x65\x01\x02\x03 of one maker's own, in no box";
    more.insert(more.end(), trailer.begin(), trailer.end());
    write_bytes(cut, more);
    CHECK_FALSE(extent_of(cut).ends_early);
  }
}

TEST_CASE("reference: no clip of a real phone is called cut short") {
  for (const char* name :
       {"sample_sef_slow_motion.mp4", "sample_android_slow_motion.mp4", "sample_edit_list.mp4",
        "sample_rotate_and_reflect.mp4", "h265_with_metadata_track.mp4", "hlg10-color-test.mp4",
        "iibbibb_editlist_videoonly.mp4", "pixel7_videoOnly_cleaned.mp4"}) {
    CAPTURE(name);
    CHECK_FALSE(Clip::open(phone_clip(name)).info().cut_short);
  }
}

TEST_CASE("fault: what is no video, or not there, ends nowhere early") {
  const Scratch scratch;
  CHECK_FALSE(extent_of(scratch.file("none")).ends_early);
  for (const std::string& text :
       {std::string(), std::string("x"), std::string("RIFF"), std::string("\x1A\x45\xDF\xA3"),
        std::string("\x1A\x45\xDF\xA3\x00", 5), std::string("a letter to somebody")}) {
    const auto path = scratch.file("text");
    write_bytes(path, {text.begin(), text.end()});
    CHECK_FALSE(extent_of(path).ends_early);
    CHECK_FALSE(extent_of(path).mp4_family);
  }
}

}  // namespace
}  // namespace nocktrail::media::testing
