#include "nocktrail/picture/still.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "nocktrail/media/image_file.hpp"
#include "scene.hpp"

using namespace nocktrail;
using namespace nocktrail::picture;

namespace {

std::map<long, cv::Mat> no_frames(const std::vector<long>&) {
  return {};
}

// Drawn, not left blank: some of the sheet is neither white nor all of one colour.
bool drawn(const cv::Mat& bgr) {
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(bgr, mean, deviation);
  return bgr.cols == 1440 && bgr.rows > 500 && deviation[0] > 5.0;
}

}  // namespace

TEST_CASE("unit: a still is drawn for landscape and portrait and survives PNG") {
  for (const cv::Size size : {cv::Size(1280, 720), cv::Size(1080, 1920)}) {
    test::Scene scene;
    scene.size = size;
    const cv::Mat still = draw_still(scene.reading(), 0, scene.fetcher(),
                                     {.hand = Hand::right, .dead_band_deg = 0.5});
    CHECK(drawn(still));
    const std::string png = media::png_bytes(still);
    // PNG signature: ISO/IEC 15948, 5.2.
    CHECK(png.substr(0, 8) == std::string("\x89PNG\r\n\x1a\n", 8));
    const cv::Mat back = cv::imdecode(std::vector<char>(png.begin(), png.end()), cv::IMREAD_COLOR);
    CHECK(cv::norm(back, still, cv::NORM_INF) == 0.0);
  }
}

TEST_CASE("fault: whatever the reading holds, a still is drawn") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const double inf = std::numeric_limits<double>::infinity();
  const test::Scene scene;
  const StillOptions options{};
  for (const double value : {0.0, 20.0, -20.0, 400.0, -1e12, nan, inf}) {
    for (const double u95 : {0.0, 1e-9, 50.0, 1e12, nan, inf}) {
      Reading r = scene.reading();
      r.shots[0].nock_right_deg = Measured{value, u95};
      r.shots[0].nock_high_deg = Measured{-value, u95};
      r.shots[0].right_high_correlation = value;
      CAPTURE(value);
      CAPTURE(u95);
      CHECK(drawn(draw_still(r, 0, no_frames, options)));
    }
  }
  Reading without_fit = scene.reading();
  without_fit.shots[0].fitted.clear();
  CHECK(drawn(draw_still(without_fit, 0, scene.fetcher(), options)));
  Reading one_frame = scene.reading();
  one_frame.shots[0].fitted.resize(1);
  CHECK(drawn(draw_still(one_frame, 0, scene.fetcher(), options)));
  Reading astray = scene.reading();
  for (FittedFrame& f : astray.shots[0].fitted) {
    f.nock_px *= 1e7;
    f.reference_from_frame.setZero();
  }
  CHECK(drawn(draw_still(astray, 0, scene.fetcher(), options)));
  Reading outside = scene.reading();
  for (FittedFrame& f : outside.shots[0].fitted) {
    f.nock_px.array() += 5000.0;
    f.tip_px.array() += 5000.0;
    f.straight_nock_px.array() += 5000.0;
  }
  CHECK(drawn(draw_still(outside, 0, scene.fetcher(), options)));
  Reading end_on = scene.reading();
  for (FittedFrame& f : end_on.shots[0].fitted) {
    f.tip_px = f.nock_px;
    f.straight_nock_px = f.nock_px;
  }
  CHECK(drawn(draw_still(end_on, 0, scene.fetcher(), options)));
  Reading long_winded = scene.reading();
  long_winded.clip.path = std::string(400, 'n') + "\xff\x01.mp4";
  long_winded.shots[0].verdict.summary = std::string(20000, 's');
  long_winded.shots[0].verdict.cautions.assign(300, "Mind the gap between the words. ");
  CHECK(drawn(draw_still(long_winded, 0, scene.fetcher(), options)));
}

TEST_CASE("unit: a refused clip shows a frame and its reason") {
  const test::Scene scene;
  Reading r = scene.reading();
  r.shots.clear();
  r.status = ClipStatus::refused;
  r.reason = "The arrow shows in too few frames.";
  const cv::Mat with_reason = draw_still(r, 0, scene.fetcher(), {});
  CHECK(drawn(with_reason));
  r.reason = "The camera swung too far.";
  const cv::Mat other = draw_still(r, 0, scene.fetcher(), {});
  REQUIRE(other.size() == with_reason.size());
  CHECK(cv::norm(other, with_reason, cv::NORM_INF) > 100.0);
  r.status = ClipStatus::no_shot;
  CHECK(drawn(draw_still(r, 0, no_frames, {})));
}

TEST_CASE("unit: the particulars stand at the foot, on a still of a shot and of a refusal") {
  const test::Scene scene;
  for (const bool measured : {true, false}) {
    Reading r = scene.reading();
    if (!measured) {
      r.shots.clear();
      r.status = ClipStatus::refused;
      r.reason = "The arrow shows in too few frames.";
    }
    StillOptions options;
    const cv::Mat without = draw_still(r, 0, scene.fetcher(), options);
    options.particulars = {"Bow: Rook Hollow 45, 45 lb at 28 in", "Arrow: shaft 29 1/2 in"};
    const cv::Mat with = draw_still(r, 0, scene.fetcher(), options);
    REQUIRE(with.rows > without.rows);
    // Above the foot nothing moves, and the foot holds dark ink.
    const int margin = 44;
    const cv::Rect above(0, 0, without.cols, without.rows - margin);
    CHECK(cv::norm(with(above), without(above), cv::NORM_INF) == 0.0);
    cv::Mat grey;
    cv::cvtColor(with.rowRange(without.rows - margin, with.rows), grey, cv::COLOR_BGR2GRAY);
    double darkest = 255.0;
    cv::minMaxLoc(grey, &darkest);
    CHECK(darkest < 120.0);
    // Whatever the words: too long, not UTF-8.
    options.particulars.assign(40, std::string(3000, 'p') + "\xff\x01");
    CHECK(drawn(draw_still(r, 0, scene.fetcher(), options)));
  }
}
