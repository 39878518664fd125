// The display matrix of tkhd, ISO/IEC 14496-12, 8.3.2: a stored point (p, q) is shown at
// (a p + c q + x, b p + d q + y), 16.16 fixed point, y down.
#include "orientation.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>
#include <vector>

#include "support.hpp"

namespace nocktrail::media::testing {
namespace {

struct Matrix {
  int a, b, c, d;
};

// The eight ways a picture can lie: all signed permutation matrices.
constexpr std::array<Matrix, 8> kMatrices = {{{1, 0, 0, 1},
                                              {0, 1, -1, 0},
                                              {-1, 0, 0, -1},
                                              {0, -1, 1, 0},
                                              {-1, 0, 0, 1},
                                              {1, 0, 0, -1},
                                              {0, 1, 1, 0},
                                              {0, -1, -1, 0}}};

// Where the formula of the standard puts the stored pixel, with the translation that brings the
// picture back into the positive quadrant.
cv::Mat shown_by_the_standard(const cv::Mat& stored, const Matrix& m) {
  const auto least = [](int u, int width, int v, int height) {
    return std::min(0, u * width) + std::min(0, v * height);
  };
  const int x = -least(m.a, stored.cols, m.c, stored.rows);
  const int y = -least(m.b, stored.cols, m.d, stored.rows);
  cv::Mat shown(m.a != 0 ? stored.size() : cv::Size(stored.rows, stored.cols), stored.type());
  for (int row = 0; row < stored.rows; ++row) {
    for (int column = 0; column < stored.cols; ++column) {
      const double p = column + 0.5;
      const double q = row + 0.5;
      const int to_column = static_cast<int>(std::floor(m.a * p + m.c * q + x));
      const int to_row = static_cast<int>(std::floor(m.b * p + m.d * q + y));
      shown.at<std::uint8_t>(to_row, to_column) = stored.at<std::uint8_t>(row, column);
    }
  }
  return shown;
}

// Writes the matrix into the first tkhd box, version 0: type 4, version and flags 4, times 8, track
// 4, reserved 4, duration 4, reserved 8, layer to reserved 8, then the matrix, big-endian.
void set_matrix(std::vector<char>& mp4, const Matrix& m, int width, int height) {
  constexpr std::string_view kType = "tkhd";
  const auto box = std::search(mp4.begin(), mp4.end(), kType.begin(), kType.end());
  REQUIRE(box != mp4.end());
  REQUIRE(*(box + 4) == 0);
  const int x = -(std::min(0, m.a * width) + std::min(0, m.c * height));
  const int y = -(std::min(0, m.b * width) + std::min(0, m.d * height));
  const std::array<std::int64_t, 9> numbers = {
      m.a * 65536, m.b * 65536, 0, m.c * 65536, m.d * 65536, 0, x * 65536, y * 65536, 1 << 30};
  auto at = box + 4 + 40;
  for (const std::int64_t number : numbers) {
    for (int shift = 24; shift >= 0; shift -= 8) {
      *at++ = static_cast<char>((number >> shift) & 0xff);
    }
  }
}

cv::Mat first_luma(const std::filesystem::path& path, int shrink = 1) {
  Clip clip = Clip::open(path);
  clip.seek(0, {.shrink = shrink});
  Frame frame;
  REQUIRE(clip.next(frame));
  return frame.luma;
}

bool same(const cv::Mat& one, const cv::Mat& other) {
  return one.size() == other.size() && cv::norm(one, other, cv::NORM_INF) == 0.0;
}

TEST_CASE("reference: all eight display matrices put every pixel where ISO/IEC 14496-12 says") {
  const Scratch scratch;
  // A bright block marks the top left corner, a grey one the top right. 104 x 76 leaves a remainder
  // at a shrink of 16, so that the alignment of the blocks is seen, too.
  const auto plain = scratch.make(
      "plain.mp4",
      "-f lavfi -i testsrc2=s=104x76:r=30:d=0.2,"
      "drawbox=x=0:y=0:w=16:h=16:c=white:t=fill,drawbox=x=88:y=0:w=16:h=16:c=gray:t=fill "
      "-c:v libx264 -qp 4 -pix_fmt yuv420p");
  if (!plain) {
    return;
  }
  const cv::Mat stored = first_luma(*plain);
  REQUIRE(stored.size() == cv::Size(104, 76));
  REQUIRE(cv::mean(stored(cv::Rect(2, 2, 12, 12)))[0] > 225.0);
  const std::vector<char> bytes = bytes_of(*plain);
  for (const Matrix& matrix : kMatrices) {
    CAPTURE(matrix.a);
    CAPTURE(matrix.b);
    CAPTURE(matrix.c);
    CAPTURE(matrix.d);
    std::vector<char> turned = bytes;
    set_matrix(turned, matrix, stored.cols, stored.rows);
    const auto path = scratch.file("turned.mp4");
    write_bytes(path, turned);
    const cv::Mat shown = first_luma(path);
    CHECK(same(shown, shown_by_the_standard(stored, matrix)));
    const Clip clip = Clip::open(path);
    CHECK(clip.info().width == shown.cols);
    CHECK(clip.info().height == shown.rows);
    // The words of the header: mirrored left to right first, then turned clockwise.
    cv::Mat by_words = stored.clone();
    if (clip.info().orientation.mirrored) {
      cv::flip(stored, by_words, 1);
    }
    for (int turn = 0; turn < clip.info().orientation.rotation_deg; turn += 90) {
      // A quarter turn clockwise takes the top row to the right column.
      by_words = shown_by_the_standard(by_words, {0, 1, -1, 0});
    }
    CHECK(same(shown, by_words));
    for (const int shrink : {2, 4, 8, 16}) {
      CAPTURE(shrink);
      const cv::Mat small = first_luma(path, shrink);
      REQUIRE(small.size() == cv::Size(shown.cols / shrink, shown.rows / shrink));
      double worst = 0.0;
      for (int row = 0; row < small.rows; ++row) {
        for (int column = 0; column < small.cols; ++column) {
          const cv::Rect block(column * shrink, row * shrink, shrink, shrink);
          worst = std::max(
              worst, std::abs(cv::mean(shown(block))[0] - small.at<std::uint8_t>(row, column)));
        }
      }
      CHECK(worst <= 0.5);
    }
  }
}

TEST_CASE(
    "a scaled or slightly off matrix counts as the nearest quarter turn, a null one as none") {
  const auto of = [](double a, double b, double c, double d) {
    const auto fixed = [](double value) {
      return static_cast<std::int32_t>(std::lround(value * 65536.0));
    };
    return orientation_from_matrix({fixed(a), fixed(b), 0, fixed(c), fixed(d), 0, 0, 0, 1 << 30});
  };
  CHECK(of(0.1, 2.0, -2.0, 0.1).rotation_deg == 90);
  CHECK_FALSE(of(0.1, 2.0, -2.0, 0.1).mirrored);
  CHECK(of(0.0, 0.0, 0.0, 0.0).rotation_deg == 0);
  CHECK_FALSE(of(0.0, 0.0, 0.0, 0.0).mirrored);
  CHECK(of(-1.0, 0.05, 0.05, 1.0).rotation_deg == 0);
  CHECK(of(-1.0, 0.05, 0.05, 1.0).mirrored);
}

TEST_CASE("chroma is turned with luma and halved whatever the subsampling") {
  const Scratch scratch;
  for (const std::string format : {"yuv420p", "yuv422p", "yuv444p", "yuv420p10le"}) {
    CAPTURE(format);
    // The left half red, the right half blue: BT.601 limited range gives Cr 240 for pure red and
    // Cb 240 for pure blue (ITU-R BT.601-7, table 3).
    const auto plain =
        scratch.make(format + ".mp4",
                     "-f lavfi -i color=blue:s=64x32:r=30:d=0.2,format=gbrp,"
                     "drawbox=x=0:y=0:w=32:h=32:c=red:t=fill,scale=out_color_matrix=bt601 "
                     "-c:v libx264 -qp 1 -pix_fmt " +
                         format);
    if (!plain) {
      return;
    }
    std::vector<char> bytes = bytes_of(*plain);
    set_matrix(bytes, {0, 1, -1, 0}, 64, 32);  // clockwise: left goes up
    write_bytes(*plain, bytes);
    Clip clip = Clip::open(*plain);
    clip.seek(0, {.chroma = true});
    Frame frame;
    REQUIRE(clip.next(frame));
    REQUIRE(frame.luma.size() == cv::Size(32, 64));
    REQUIRE(frame.chroma_u.size() == cv::Size(16, 32));
    REQUIRE(frame.chroma_v.size() == cv::Size(16, 32));
    CHECK(cv::mean(frame.chroma_v(cv::Rect(0, 0, 16, 14)))[0] ==
          doctest::Approx(240).epsilon(0.01));
    CHECK(cv::mean(frame.chroma_u(cv::Rect(0, 18, 16, 14)))[0] ==
          doctest::Approx(240).epsilon(0.01));
    CHECK(cv::mean(frame.chroma_u(cv::Rect(0, 0, 16, 14)))[0] < 110.0);
  }
  const auto grey =
      scratch.make("grey.mkv", "-f lavfi -i testsrc2=s=64x32:r=30:d=0.2 -pix_fmt gray -c:v ffv1");
  if (grey) {
    Clip clip = Clip::open(*grey);
    clip.seek(0, {.chroma = true});
    Frame frame;
    REQUIRE(clip.next(frame));
    REQUIRE(frame.chroma_u.size() == cv::Size(32, 16));
    CHECK(cv::norm(frame.chroma_u, cv::Mat(16, 32, CV_8UC1, 128), cv::NORM_INF) == 0.0);
  }
}

}  // namespace
}  // namespace nocktrail::media::testing
