#include "nocktrail/optics/camera.hpp"

#include <cmath>

namespace nocktrail::optics {

namespace {

constexpr double kFullFrameDiagonalMm = 43.2666;

}  // namespace

double focal_px_from_35mm(double focal_35mm, int width, int height) {
  return focal_35mm * std::hypot(width, height) / kFullFrameDiagonalMm;
}

double focal_35mm_from_width(double width_over_distance) {
  return kFullFrameDiagonalMm * 16.0 / std::hypot(16.0, 9.0) / width_over_distance;
}

Camera make_camera(double focal_px, int width, int height) {
  return {.focal_px = focal_px, .principal_px = {(width - 1) / 2.0, (height - 1) / 2.0}};
}

Eigen::Vector2d apply_homography(const Eigen::Matrix3d& to_from, const Eigen::Vector2d& pixel) {
  return (to_from * pixel.homogeneous()).hnormalized();
}

}  // namespace nocktrail::optics
