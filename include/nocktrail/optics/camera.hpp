// The camera: a pinhole with square pixels whose axes are X right, Y down, Z along the view.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>

namespace nocktrail::optics {

// Focal length in pixels and the picture it belongs to. Pixel centres have integer coordinates, so
// the principal point of a WxH picture is ((W-1)/2, (H-1)/2).
struct Camera {
  double focal_px = 0.0;
  Eigen::Vector2d principal_px = Eigen::Vector2d::Zero();
};

// Contract's diagonal convention: focal_px = F * hypot(width, height) / 43.2666, the diagonal of a
// 36 mm x 24 mm frame being 43.2666 mm.
double focal_px_from_35mm(double focal_35mm, int width, int height);

// The same F of a phone whose picture of 16:9, as phones film, shows a stretch so many times as
// wide as it is far, along its longer side: by similar triangles focal_px = long side / ratio.
double focal_35mm_from_width(double width_over_distance);

Camera make_camera(double focal_px, int width, int height);

// Pinhole projection (Hartley & Zisserman, Multiple View Geometry, 2nd ed., eq. 6.1). The point is
// in the camera frame, metres, Z > 0; the result is in pixels. Works for automatic
// differentiation scalars.
template <typename T>
Eigen::Matrix<T, 2, 1> project(const T& focal_px, const Eigen::Vector2d& principal_px,
                               const Eigen::Matrix<T, 3, 1>& point_in_camera_m) {
  const T scale = focal_px / point_in_camera_m.z();
  return {point_in_camera_m.x() * scale + principal_px.x(),
          point_in_camera_m.y() * scale + principal_px.y()};
}

// The ray (Z = 1) through a pixel; also the direction whose vanishing point that pixel is.
template <typename T>
Eigen::Matrix<T, 3, 1> ray(const T& focal_px, const Eigen::Vector2d& principal_px,
                           const Eigen::Matrix<T, 2, 1>& pixel) {
  return {(pixel.x() - principal_px.x()) / focal_px, (pixel.y() - principal_px.y()) / focal_px,
          T(1)};
}

// Where a homography takes a pixel.
Eigen::Vector2d apply_homography(const Eigen::Matrix3d& to_from, const Eigen::Vector2d& pixel);

}  // namespace nocktrail::optics
