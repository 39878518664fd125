#include "strobe.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "scene.hpp"

using namespace nocktrail;
using namespace nocktrail::picture;

namespace {

int grey_at(const cv::Mat& bgr, const Eigen::Vector2d& px) {
  const cv::Vec3b v = bgr.at<cv::Vec3b>(cvRound(px.y()), cvRound(px.x()));
  return (v[0] + v[1] + v[2]) / 3;
}

}  // namespace

TEST_CASE("unit: shown shafts hardly overlap, and the reference distance is among them") {
  const test::Scene scene;
  const std::vector<Instant> all = drawable_instants(scene.reading().shots[0]);
  REQUIRE(all.size() == 24);
  const std::vector<Instant> shown = spaced_instants(all);
  REQUIRE(shown.size() >= 3);
  REQUIRE(shown.size() <= 8);
  const double nearest = all[reference_distance_instant(all)].fitted.nock_z_m;
  CHECK(std::abs(nearest - 2.0) <= 0.5 * 52.0 / 240.0 + 1e-9);
  bool there = false;
  for (std::size_t k = 0; k < shown.size(); ++k) {
    there = there || shown[k].fitted.nock_z_m == nearest;
    if (k > 0) {
      CHECK(shown[k].fitted.index > shown[k - 1].fitted.index);
      // 52 m/s at 240 frames a second is 0.217 m a frame; a 0.76 m arrow clears itself in four.
      CHECK(shown[k].fitted.index - shown[k - 1].fitted.index >= 3);
    }
  }
  CHECK(there);
}

TEST_CASE(
    "truth: each shown arrow is in the picture, the others are not, whatever the camera did") {
  for (const double drift : {0.0, 1.5}) {
    test::Scene scene;
    scene.drift_px_per_frame = drift;
    CAPTURE(drift);
    const Reading r = scene.reading();
    const std::vector<Instant> all = drawable_instants(r.shots[0]);
    const std::vector<Instant> shown = spaced_instants(all);
    const cv::Mat strobe = strobe_picture(r.shots[0], all, shown, scene.fetcher());
    REQUIRE(strobe.size() == scene.size);
    int looked_at = 0;
    for (const Instant& i : shown) {
      const Eigen::Vector2d middle = 0.5 * (i.nock_in_reference_px + i.tip_in_reference_px);
      if (middle.y() >= scene.size.height - 1) {
        continue;  // the arrow comes into view from below
      }
      ++looked_at;
      const int background = grey_at(strobe, middle + Eigen::Vector2d(60.0, 0.0));
      CAPTURE(i.fitted.index);
      CHECK(grey_at(strobe, middle) < background - 60);
    }
    CHECK(looked_at >= 3);
    // Beside all arrows the background is as the frames have it.
    CHECK(cv::norm(strobe.row(5), scene.frame(0).row(5), cv::NORM_INF) <= 2.0);
  }
}

TEST_CASE("fault: no frames, no picture; a wrong size is left out") {
  const test::Scene scene;
  const Reading r = scene.reading();
  const std::vector<Instant> all = drawable_instants(r.shots[0]);
  const FrameFetcher none = [](const std::vector<long>&) { return std::map<long, cv::Mat>{}; };
  CHECK(strobe_picture(r.shots[0], all, spaced_instants(all), none).empty());
  CHECK(strobe_picture(r.shots[0], {}, {}, scene.fetcher()).size() == scene.size);
}
