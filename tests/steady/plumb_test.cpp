// The roll of a camera over scenery that is drawn from its geometry: posts that stand upright, a
// far edge that runs level, projected by OpenCV's own pinhole (cv::projectPoints).
#include <doctest/doctest.h>

#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "nocktrail/steady/plumb.hpp"

using namespace nocktrail;

namespace {

constexpr int kWidth = 960;
constexpr int kHeight = 640;
constexpr double kFocal_px = 700.0;
constexpr double kDeg = 3.14159265358979323846 / 180.0;

using Random = boost::random::mt19937_64;

struct Scene {
  double roll_rad = 0.0;
  double down_rad = 0.09;  // how far the camera looks down
  int posts = 0;
  bool edge = false;
  double lean_rad = 0.0;  // of the posts, 1 sigma
};

struct View {
  cv::Mat still;
  Eigen::Vector2d vanishing_px;
};

// World: x right, y down, z level and downrange, the camera 2.1 m above the ground.
View view_of(const Scene& scene, std::uint64_t seed) {
  Random random(seed);
  boost::random::uniform_real_distribution<double> even(-1.0, 1.0);
  boost::random::normal_distribution<double> normal;
  const cv::Matx33d pitch(1, 0, 0, 0, std::cos(scene.down_rad), -std::sin(scene.down_rad), 0,
                          std::sin(scene.down_rad), std::cos(scene.down_rad));
  // A phone rolled so that the plumb line in its picture is (sin roll, cos roll).
  const cv::Matx33d roll(std::cos(scene.roll_rad), std::sin(scene.roll_rad), 0,
                         -std::sin(scene.roll_rad), std::cos(scene.roll_rad), 0, 0, 0, 1);
  cv::Vec3d turn;
  cv::Rodrigues(roll * pitch, turn);
  const cv::Matx33d camera(kFocal_px, 0, (kWidth - 1) / 2.0, 0, kFocal_px, (kHeight - 1) / 2.0, 0,
                           0, 1);
  const auto seen = [&](double x, double y, double z) {
    std::vector<cv::Point2d> pixels;
    cv::projectPoints(std::vector<cv::Point3d>{{x, y, z}}, turn, cv::Vec3d(), camera, {}, pixels);
    return pixels.front();
  };
  View view;
  view.still = cv::Mat(kHeight, kWidth, CV_8U, cv::Scalar(120));
  constexpr int kShift = 4;  // sixteenths of a pixel
  const auto line = [&](const cv::Point2d& a, const cv::Point2d& b, int grey, int width) {
    const auto fixed = [](const cv::Point2d& p) {
      return cv::Point(cvRound(p.x * (1 << kShift)), cvRound(p.y * (1 << kShift)));
    };
    cv::line(view.still, fixed(a), fixed(b), cv::Scalar(grey), width, cv::LINE_AA, kShift);
  };
  if (scene.edge) {
    line(seen(-60, 2.1, 45), seen(60, 2.1, 45), 60, 3);
  }
  for (int i = 0; i < scene.posts; ++i) {
    const double z = 30.0 + 10.0 * even(random);
    const double x = 0.6 * z * even(random);
    const double lean = scene.lean_rad * normal(random);
    line(seen(x, 2.0, z), seen(x + 5.0 * std::tan(lean), -3.0, z), i % 2 == 0 ? 50 : 190, 2);
  }
  cv::Mat noise(view.still.size(), CV_16S);
  cv::RNG draws(seed);
  draws.fill(noise, cv::RNG::NORMAL, 0, 2);
  cv::Mat sum;
  view.still.convertTo(sum, CV_16S);
  sum += noise;
  sum.convertTo(view.still, CV_8U);
  // An arrow loosed 1.5 deg upward vanishes there.
  const cv::Point2d vanishing = seen(0.0, -1e6 * std::tan(1.5 * kDeg), 1e6);
  view.vanishing_px = Eigen::Vector2d(vanishing.x, vanishing.y);
  return view;
}

}  // namespace

TEST_CASE("upright posts and a level edge tell the roll") {
  for (const double roll_deg : {-4.0, -1.5, 0.0, 2.5}) {
    for (const bool edge : {false, true}) {
      CAPTURE(roll_deg);
      CAPTURE(edge);
      const View view = view_of({roll_deg * kDeg, 0.09, 9, edge, 0.003}, 7);
      const steady::Plumb plumb =
          steady::find_plumb(view.still, view.vanishing_px, kFocal_px, steady::PlumbOptions{});

      CHECK(std::abs(plumb.roll_rad - roll_deg * kDeg) < 0.6 * kDeg);
      CHECK(std::abs(plumb.roll_rad - roll_deg * kDeg) < 3.0 * plumb.sigma_rad);
      CHECK(plumb.sigma_rad < 1.0 * kDeg);
    }
  }
}

TEST_CASE("the lean that perspective gives to posts beside the middle is not taken for roll") {
  // All posts on one side of a camera that looks 12 deg down lean the same way in the picture.
  const View view = view_of({0.0, 0.21, 40, false, 0.0}, 3);
  cv::Mat half = view.still.clone();
  half.colRange(0, kWidth / 2).setTo(120);
  const steady::Plumb plumb =
      steady::find_plumb(half, view.vanishing_px, kFocal_px, steady::PlumbOptions{});
  CHECK(std::abs(plumb.roll_rad) < 0.7 * kDeg);
}

TEST_CASE("a picture without lines says no more than that phones are held level") {
  const View view = view_of({3.0 * kDeg, 0.09, 0, false, 0.0}, 5);
  const steady::PlumbOptions options;
  const steady::Plumb plumb = steady::find_plumb(view.still, view.vanishing_px, kFocal_px, options);
  CHECK(std::abs(plumb.roll_rad) < 0.3 * kDeg);
  CHECK(plumb.sigma_rad == doctest::Approx(options.level_sigma_rad).epsilon(0.1));
}

TEST_CASE("one leaning line, a bow's limb say, is not believed against many posts") {
  Scene scene{1.0 * kDeg, 0.09, 10, true, 0.003};
  View view = view_of(scene, 11);
  cv::line(view.still, {500, 330}, {545, 20}, cv::Scalar(20), 9, cv::LINE_AA);
  const steady::Plumb plumb =
      steady::find_plumb(view.still, view.vanishing_px, kFocal_px, steady::PlumbOptions{});
  CHECK(std::abs(plumb.roll_rad - scene.roll_rad) < 0.6 * kDeg);
}

TEST_CASE("a vanishing point outside the picture leaves nothing to look at") {
  const View view = view_of({0.0, 0.09, 9, true, 0.0}, 2);
  const steady::PlumbOptions options;
  const steady::Plumb plumb = steady::find_plumb(view.still, {400.0, -4000.0}, kFocal_px, options);
  CHECK(plumb.sigma_rad == doctest::Approx(options.level_sigma_rad).epsilon(0.1));
}
