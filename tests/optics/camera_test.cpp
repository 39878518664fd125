// The camera against OpenCV's projection, textbook vanishing points and worked figures.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <vector>

#include "nocktrail/optics/camera.hpp"

using namespace nocktrail;

namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

}  // namespace

TEST_CASE("reference: 26 mm equivalent at 1920x1080 is 1323.8 px by the picture's diagonal") {
  // Worked figure of the diagonal convention, f = F hypot(w, h) / 43.2666: 26 * 2202.907 / 43.2666.
  CHECK(optics::focal_px_from_35mm(26.0, 1920, 1080) ==
        doctest::Approx(1323.8).epsilon(0.05 / 1323.8));
  // A diagonal is the same whichever way the phone is held.
  CHECK(optics::focal_px_from_35mm(26.0, 1080, 1920) ==
        doctest::Approx(optics::focal_px_from_35mm(26.0, 1920, 1080)));
  // The diagonal of a 36 mm x 24 mm picture, 12 sqrt(13) mm, must give back F itself.
  CHECK(optics::focal_px_from_35mm(50.0, 3600, 2400) == doctest::Approx(5000.0).epsilon(1e-5));
}

TEST_CASE("reference: the focal length of a picture 1.45 times as wide as it is far") {
  // The same worked figure by similar triangles: 1920 / 1323.8 = 1.4504.
  CHECK(optics::focal_35mm_from_width(1920.0 / 1323.8) == doctest::Approx(26.0).epsilon(1e-4));
  // A picture that shows 90 deg is twice as wide as it is far: half its long side is one focal
  // length. (36 mm by 20.25 mm, 16:9: 18 mm by width, scaled to the diagonal of 36 by 24.)
  CHECK(optics::focal_35mm_from_width(2.0) ==
        doctest::Approx(18.0 * 43.2666 / std::hypot(36.0, 20.25)).epsilon(1e-4));
}

TEST_CASE("reference: a direction 3 deg to the right vanishes 69.38 px beside the centre") {
  // x = f tan(yaw) (Hartley & Zisserman, Multiple View Geometry, 2nd ed., ch. 8: v = K d).
  const double focal_px = optics::focal_px_from_35mm(26.0, 1920, 1080);
  const optics::Camera camera = optics::make_camera(focal_px, 1920, 1080);
  CHECK(camera.principal_px.x() == doctest::Approx(959.5));
  CHECK(camera.principal_px.y() == doctest::Approx(539.5));
  const Eigen::Vector3d far =
      1e7 * Eigen::Vector3d(std::sin(3.0 * kDegree), 0.0, std::cos(3.0 * kDegree)) +
      Eigen::Vector3d(0.3, 0.6, -1.4);  // where the line passes does not matter
  const Eigen::Vector2d seen = optics::project<double>(camera.focal_px, camera.principal_px, far);
  CHECK(seen.x() - camera.principal_px.x() == doctest::Approx(69.38).epsilon(0.005 / 69.38));
  CHECK(seen.y() - camera.principal_px.y() == doctest::Approx(0.0).epsilon(1e-3));
}

TEST_CASE("reference: projection agrees with cv::projectPoints over a grid of points") {
  const optics::Camera camera = optics::make_camera(1123.4, 1280, 720);
  const cv::Matx33d k(camera.focal_px, 0, camera.principal_px.x(), 0, camera.focal_px,
                      camera.principal_px.y(), 0, 0, 1);
  std::vector<cv::Point3d> points;
  for (const double x : {-1.5, -0.2, 0.0, 0.7}) {
    for (const double y : {-0.9, 0.1, 0.6}) {
      for (const double z : {0.5, 2.0, 18.0}) {
        points.emplace_back(x, y, z);
      }
    }
  }
  std::vector<cv::Point2d> expected;
  cv::projectPoints(points, cv::Vec3d(0, 0, 0), cv::Vec3d(0, 0, 0), k, cv::noArray(), expected);
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Eigen::Vector3d point(points[i].x, points[i].y, points[i].z);
    const Eigen::Vector2d seen =
        optics::project<double>(camera.focal_px, camera.principal_px, point);
    CHECK(seen.x() == doctest::Approx(expected[i].x).epsilon(1e-9));
    CHECK(seen.y() == doctest::Approx(expected[i].y).epsilon(1e-9));
    // The ray through a pixel goes back through the point.
    const Eigen::Vector3d back = optics::ray<double>(camera.focal_px, camera.principal_px, seen);
    CHECK((back * point.z() - point).norm() < 1e-9);
  }
}

TEST_CASE("reference: a turned camera sees through the conjugate rotation K R K^-1") {
  // Hartley & Zisserman, 2nd ed., 8.4.2; the turned camera's picture comes from cv::projectPoints.
  const optics::Camera camera = optics::make_camera(950.0, 720, 1280);
  Eigen::Matrix3d k;
  k << camera.focal_px, 0, camera.principal_px.x(), 0, camera.focal_px, camera.principal_px.y(), 0,
      0, 1;
  const Eigen::Vector3d axis = Eigen::Vector3d(0.3, -0.8, 0.5).normalized();
  const double angle = 1.7 * kDegree;
  const Eigen::Matrix3d turn = Eigen::AngleAxisd(angle, axis).toRotationMatrix();
  const Eigen::Matrix3d turned_from_straight = k * turn * k.inverse();
  const std::vector<cv::Point3d> points = {{0.2, 0.3, 2.0}, {-0.9, 1.6, 4.0}, {3.0, -2.0, 19.0}};
  const cv::Matx33d k_cv(k(0, 0), 0, k(0, 2), 0, k(1, 1), k(1, 2), 0, 0, 1);
  const Eigen::Vector3d rotation = axis * angle;
  std::vector<cv::Point2d> turned;
  cv::projectPoints(points, cv::Vec3d(rotation.x(), rotation.y(), rotation.z()), cv::Vec3d(0, 0, 0),
                    k_cv, cv::noArray(), turned);
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Eigen::Vector2d straight = optics::project<double>(
        camera.focal_px, camera.principal_px, {points[i].x, points[i].y, points[i].z});
    const Eigen::Vector2d seen = optics::apply_homography(turned_from_straight, straight);
    CHECK(seen.x() == doctest::Approx(turned[i].x).epsilon(1e-9));
    CHECK(seen.y() == doctest::Approx(turned[i].y).epsilon(1e-9));
  }
}
