#include "dial.hpp"

#include <doctest/doctest.h>

#include <opencv2/imgproc.hpp>

#include "palette.hpp"

using namespace nocktrail;
using namespace nocktrail::picture;

namespace {

const Box kBox{0.0, 0.0, 600.0, 600.0};

// Centre of gravity of the pixels in the full colour of the shaft: line and nock.
cv::Point2d nock_side(const DialContent& content) {
  Canvas canvas(600, 600);
  draw_dial(canvas, kBox, content);
  const cv::Mat bgr = canvas.bgr(600);
  const cv::Scalar colour(255 * kShaft.blue, 255 * kShaft.green, 255 * kShaft.red);
  cv::Mat mask;
  cv::inRange(bgr, colour - cv::Scalar::all(3), colour + cv::Scalar::all(3), mask);
  const cv::Moments m = cv::moments(mask, true);
  REQUIRE(m.m00 > 200.0);
  return {m.m10 / m.m00, m.m01 / m.m00};
}

DialContent trailing(double right, double high) {
  DialContent c;
  c.nock_right_deg = {right, 0.2};
  c.nock_high_deg = {high, 0.2};
  return c;
}

}  // namespace

TEST_CASE("unit: right is right, high is up, and mirrored offsets give mirrored dials") {
  const cv::Point2d right = nock_side(trailing(2.0, 0.0));
  const cv::Point2d left = nock_side(trailing(-2.0, 0.0));
  const cv::Point2d high = nock_side(trailing(0.0, 2.0));
  const cv::Point2d low = nock_side(trailing(0.0, -2.0));
  CHECK(right.x > 300.0 + 40.0);
  CHECK(left.x < 300.0 - 40.0);
  CHECK(right.x - 300.0 == doctest::Approx(300.0 - left.x).epsilon(0.02));
  CHECK(high.y < low.y - 80.0);
  CHECK(high.x == doctest::Approx(300.0).epsilon(0.01));
}

TEST_CASE("unit: the dial's edge lies beyond the offset and its interval") {
  for (const double value : {0.0, 1.0, 2.9, 4.6, 9.5, 25.0, 44.0}) {
    const DialScale scale = dial_scale(trailing(value, 0.0));
    CHECK(scale.edge_deg > value + 0.2);
    CHECK(scale.edge_deg / scale.ring_deg <= 6.0);
  }
}
