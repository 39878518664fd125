// What changes in colour alone, on drawn pictures.
#include "seen_in_colour.hpp"

#include <doctest/doctest.h>

#include <opencv2/core.hpp>

using namespace nocktrail;

namespace {

constexpr int kFrames = 15;
constexpr int kWith = 7;  // the frame that has the patch
const cv::Rect kPatch(60, 40, 20, 12);

// A grey scene, V - U of 4 everywhere; one frame has a patch of another brightness and warmth.
pipeline::Stretch scene(int luma, int warmth) {
  pipeline::Stretch stretch;
  for (int k = 0; k < kFrames; ++k) {
    cv::Mat bright(96, 160, CV_8U, cv::Scalar(100));
    cv::Mat warm(48, 80, CV_8U, cv::Scalar(128 + 4));
    if (k == kWith) {
      bright(kPatch).setTo(100 + luma);
      warm(cv::Rect(kPatch.x / 2, kPatch.y / 2, kPatch.width / 2, kPatch.height / 2))
          .setTo(128 + 4 + warmth);
    }
    stretch.luma.push_back(bright);
    stretch.warmth.push_back(warm);
    stretch.index.push_back(k);
    stretch.t_s.push_back(k / 240.0);
  }
  return stretch;
}

double in_patch(const pipeline::Stretch& stretch, std::size_t k) {
  const cv::Rect inner(kPatch.x + 3, kPatch.y + 3, kPatch.width - 6, kPatch.height - 6);
  return cv::mean(stretch.luma[k](inner))[0];
}

steady::Steadied still_camera() {
  steady::Steadied steadied;
  steadied.motion.resize(kFrames);
  return steadied;
}

}  // namespace

TEST_CASE("unit: brightness and warmth add up, whichever way each differs") {
  for (const int luma : {0, 12, -12}) {
    for (const int warmth : {0, 20, -20}) {
      CAPTURE(luma);
      CAPTURE(warmth);
      pipeline::Stretch stretch = scene(luma, warmth);
      cv::Mat still;
      pipeline::changes_in_colour(stretch, still_camera(), still);
      CHECK(in_patch(stretch, kWith) == doctest::Approx(std::abs(luma) + 1.5 * std::abs(warmth)));
      CHECK(in_patch(stretch, kWith + 1) == 0.0);
      CHECK(cv::mean(still)[0] == 100.0);
      CHECK(stretch.warmth.empty());
    }
  }
}

TEST_CASE("metamorphic: a camera that moved shows the colour where it was") {
  pipeline::Stretch stretch = scene(0, 20);
  steady::Steadied steadied = still_camera();
  // That frame's picture stands 6 px further left: its patch belongs 6 px further right.
  steadied.motion[kWith].reference_from_frame(0, 2) = 6.0;
  cv::Mat still;
  pipeline::changes_in_colour(stretch, steadied, still);
  const cv::Mat& seen = stretch.luma[kWith];
  CHECK(cv::mean(seen(kPatch + cv::Point(6, 0)))[0] > 25.0);
  CHECK(seen.at<unsigned char>(kPatch.y + 6, kPatch.x + 3) == 0);
}
