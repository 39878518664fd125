#include "grey.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <set>

#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

TEST_CASE("reference: PQ is folded to the HLG levels of ITU-R BT.2408") {
  // BT.2408, table 1 (values from memory): 18 % grey is 38 % in PQ and in HLG; reference white,
  // 203 cd/m2, is 58 % in PQ and 75 % in HLG.
  CHECK(hlg_from_pq(0.38) == doctest::Approx(0.38).epsilon(0.02));
  CHECK(hlg_from_pq(0.58) == doctest::Approx(0.75).epsilon(0.01));
  CHECK(hlg_from_pq(0.0) == doctest::Approx(0.0).epsilon(1e-3));
  CHECK(hlg_from_pq(1.0) == doctest::Approx(1.0));
  // No clipping below the peak, and no jump at the knee.
  double last = -1.0;
  for (int i = 0; i <= 1000; ++i) {
    const double now = hlg_from_pq(i / 1000.0);
    CHECK(now > last);
    if (i > 0) {
      CHECK(now - last < 0.004);
    }
    last = now;
  }
}

TEST_CASE("deep codes are rounded to eight bits, limited range stays limited") {
  const auto ten = grey_table(10, false, false);
  REQUIRE(ten.size() == 1024);
  // ITU-R BT.2100 table 9: black 64, peak 940 in ten bits; BT.601: 16 and 235 in eight.
  CHECK(ten[64] == 16);
  CHECK(ten[940] == 235);
  CHECK(ten[65] == 16);
  CHECK(ten[66] == 17);
  CHECK(ten[1023] == 255);
  const auto full = grey_table(10, false, true);
  CHECK(full[0] == 0);
  CHECK(full[1023] == 255);
  CHECK(full[512] == 128);
  const auto pq = grey_table(10, true, false);
  CHECK(pq[64] == 16);
  CHECK(pq[940] == 235);
  CHECK(std::is_sorted(pq.begin(), pq.end()));
}

TEST_CASE("phone HLG gives a grey that uses the range and does not clip") {
  Clip clip = Clip::open(phone_clip("hlg10-color-test.mp4"));
  CHECK(clip.info().hdr);
  clip.seek(0, {});
  Frame frame;
  REQUIRE(clip.next(frame));
  double low = 0.0;
  double high = 0.0;
  cv::minMaxLoc(frame.luma, &low, &high);
  CHECK(high < 255.0);
  CHECK(high - low > 60.0);
  const double saturated = cv::countNonZero(frame.luma >= 254);
  CHECK(saturated == 0.0);
}

TEST_CASE("ten-bit clips give the rounded luma of the ffmpeg tool's ten bits") {
  const Scratch scratch;
  const auto path =
      scratch.make("ten.mp4",
                   "-f lavfi -i testsrc2=s=96x64:r=30:d=0.2 -pix_fmt yuv420p10le "
                   "-color_trc arib-std-b67 -c:v libx265 -x265-params log-level=none");
  if (!path) {
    return;
  }
  const std::vector<std::uint8_t> raw = ffmpeg_raw(scratch, *path, "yuv420p10le");
  Clip clip = Clip::open(*path);
  CHECK(clip.info().hdr);
  CHECK(clip.info().codec == "hevc");
  clip.seek(0, {});
  Frame frame;
  REQUIRE(clip.next(frame));
  int worst = 0;
  for (int row = 0; row < 64; ++row) {
    for (int column = 0; column < 96; ++column) {
      const auto at = static_cast<std::size_t>(2 * (row * 96 + column));
      const int code = raw[at] + 256 * raw[at + 1];
      worst = std::max(worst, std::abs(frame.luma.at<std::uint8_t>(row, column) * 4 - code));
    }
  }
  CHECK(worst <= 2);  // half an eight-bit step
}

TEST_CASE("formats without luma planes are converted") {
  const Scratch scratch;
  const auto path = scratch.make(
      "rgb.mkv", "-f lavfi -i color=white:s=64x48:r=30:d=0.2 -c:v libx264rgb -qp 0 -pix_fmt rgb24");
  if (!path) {
    return;
  }
  Clip clip = Clip::open(*path);
  Frame frame;
  REQUIRE(clip.next(frame));
  CHECK(cv::mean(frame.luma)[0] == doctest::Approx(235.0).epsilon(0.01));  // BT.601 white
}

}  // namespace
}  // namespace nocktrail::media::testing
