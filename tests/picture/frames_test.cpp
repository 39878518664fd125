#include "nocktrail/picture/frames.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace nocktrail;

TEST_CASE("reference: full colour bars in BT.709 limited range") {
  // 8-bit Y' Cb Cr of 100 % bars, from memory of the usual HD bar tables; they follow from ITU-R
  // BT.709-6 item 3.2 with Kr 0.2126, Kb 0.0722, rounded to whole codes.
  struct Bar {
    int y, cb, cr, red, green, blue;
  };
  const Bar bars[] = {{235, 128, 128, 255, 255, 255}, {16, 128, 128, 0, 0, 0},
                      {219, 16, 138, 255, 255, 0},    {188, 154, 16, 0, 255, 255},
                      {173, 42, 26, 0, 255, 0},       {78, 214, 230, 255, 0, 255},
                      {63, 102, 240, 255, 0, 0},      {32, 240, 118, 0, 0, 255}};
  for (const Bar& bar : bars) {
    media::Frame frame;
    frame.luma = cv::Mat(4, 4, CV_8UC1, cv::Scalar(bar.y));
    frame.chroma_u = cv::Mat(2, 2, CV_8UC1, cv::Scalar(bar.cb));
    frame.chroma_v = cv::Mat(2, 2, CV_8UC1, cv::Scalar(bar.cr));
    const cv::Vec3b bgr = picture::bgr_from_frame(frame).at<cv::Vec3b>(1, 1);
    CAPTURE(bar.y);
    // Rounding of the codes is worth up to two steps.
    CHECK(std::abs(bgr[0] - bar.blue) <= 2);
    CHECK(std::abs(bgr[1] - bar.green) <= 2);
    CHECK(std::abs(bgr[2] - bar.red) <= 2);
  }
}

TEST_CASE("unit: without chroma the picture is grey") {
  media::Frame frame;
  frame.luma = cv::Mat(4, 4, CV_8UC1, cv::Scalar(126));
  const cv::Vec3b bgr = picture::bgr_from_frame(frame).at<cv::Vec3b>(2, 2);
  CHECK(bgr[0] == bgr[1]);
  CHECK(bgr[1] == bgr[2]);
}

TEST_CASE("fault: a clip that is gone gives no frames") {
  CHECK(picture::frames_of("no-such-clip.mp4")({0, 1}).empty());
}
