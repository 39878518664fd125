// The phone: pinhole with optional radial distortion, hand shake, rolling shutter, and the mapping
// between the displayed and the stored picture.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <vector>

#include "spec.hpp"

namespace clipmaker {

struct CameraPose {
  // x_camera = camera_from_range (p - position); camera x right, y down, z forward.
  Eigen::Matrix3d camera_from_range = Eigen::Matrix3d::Identity();
  Eigen::Vector3d position_m = Eigen::Vector3d::Zero();
};

class Camera {
 public:
  // Poses are those in the frame of the shot that `stage` puts into the world.
  Camera(const CameraSpec& spec, const PictureSpec& picture, std::uint64_t shake_seed,
         const StageSpec& stage = {});

  int width() const { return width_; }  // display size
  int height() const { return height_; }
  double focal_px() const { return focal_px_; }
  // Where the lens's axis meets the picture.
  double centre_x() const { return 0.5 * (width_ - 1) + spec_.axis_right * width_; }
  double centre_y() const { return 0.5 * (height_ - 1) + spec_.axis_down * width_; }
  const CameraSpec& spec() const { return spec_; }

  // The pose without shake, and with it at clip time t. Rows of frame i are exposed about
  // i / fps + row_delay(row): the frame's time stamp is the mid-exposure of the middle row.
  const CameraPose& mean_pose() const { return mean_; }
  CameraPose pose(double t_s) const;
  double row_delay(double x_px, double y_px) const;

  // Display pixel of a point for a given pose; nothing behind the camera.
  std::optional<Eigen::Vector2d> project(const CameraPose& pose, const Eigen::Vector3d& p_m) const;
  // Direction (range frame, not unit) of a display pixel.
  Eigen::Vector3d ray(const CameraPose& pose, double x_px, double y_px) const;
  // Camera-frame direction with z = 1 of a display pixel, distortion undone.
  Eigen::Vector3d camera_ray(double x_px, double y_px) const;

 private:
  struct Wave {
    double omega = 0.0;
    double phase = 0.0;
    double amplitude = 0.0;
  };
  double wander(const std::vector<Wave>& waves, double t) const;
  // What is left in the picture of a turn of the hand.
  double turn(const std::vector<Wave>& waves, double t) const;

  CameraSpec spec_;
  PictureSpec picture_;
  int width_;
  int height_;
  double focal_px_;
  CameraPose mean_;
  std::array<std::vector<Wave>, 3> turn_;   // rotation vector, radians, camera frame
  std::array<std::vector<Wave>, 3> shift_;  // metres, range frame
};

}  // namespace clipmaker
