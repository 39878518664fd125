#include "camera.hpp"

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "rng.hpp"

namespace clipmaker {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kFullFrameDiagonal_mm = 43.2666;

}  // namespace

Camera::Camera(const CameraSpec& spec, const PictureSpec& picture, std::uint64_t shake_seed,
               const StageSpec& stage)
    : spec_(spec),
      picture_(picture),
      width_(display_width(picture)),
      height_(display_height(picture)),
      focal_px_(spec.focal_35mm * std::hypot(picture.width, picture.height) /
                kFullFrameDiagonal_mm) {
  // Rotating the camera by +angle rotates the scene in it by -angle: yaw to the right turns
  // directions to the left, pitch up turns them down, roll clockwise turns them counter-clockwise.
  using Eigen::AngleAxisd;
  using Eigen::Vector3d;
  mean_.camera_from_range = (AngleAxisd(-spec.roll_deg * kRad, Vector3d::UnitZ()) *
                             AngleAxisd(-spec.pitch_deg * kRad, Vector3d::UnitX()) *
                             AngleAxisd(-spec.yaw_deg * kRad, Vector3d::UnitY()))
                                .toRotationMatrix();
  mean_.position_m = {spec.lateral_m, -spec.height_above_m, -spec.behind_m};
  const Eigen::Matrix3d world_from_shot =
      AngleAxisd(stage.yaw_deg * kRad, Vector3d::UnitY()).toRotationMatrix();
  mean_.position_m =
      world_from_shot.transpose() * (mean_.position_m - Vector3d(stage.x_m, 0.0, stage.z_m));
  mean_.camera_from_range = mean_.camera_from_range * world_from_shot;

  // Hand shake: sinusoids from 0.4 to 11 Hz whose angular speed is spread evenly in the logarithm
  // of frequency (slow drift is large in angle, tremor near 9 Hz small), scaled to the wanted rms.
  Rng rng = Rng::stream(shake_seed, 71);
  const int count = 14;
  for (std::size_t axis = 0; axis < 3; ++axis) {
    double speed_square = 0.0;
    double shift_square = 0.0;
    for (int i = 0; i < count; ++i) {
      const double hz = 0.4 * std::pow(11.0 / 0.4, (i + rng.unit()) / count);
      const double omega = 2.0 * std::numbers::pi * hz;
      const double speed = 0.5 + rng.unit();
      speed_square += 0.5 * speed * speed;
      turn_[axis].push_back({omega, rng.uniform(0.0, 2.0 * std::numbers::pi), speed / omega});
      const double away = (0.5 + rng.unit()) / (1.0 + hz);
      shift_square += 0.5 * away * away;
      shift_[axis].push_back({omega, rng.uniform(0.0, 2.0 * std::numbers::pi), away});
    }
    const double turn_scale = spec.shake_deg_per_s * kRad / std::sqrt(3.0 * speed_square);
    const double shift_scale = spec.shake_mm * 1e-3 / std::sqrt(shift_square);
    for (Wave& w : turn_[axis]) {
      w.amplitude *= turn_scale;
    }
    for (Wave& w : shift_[axis]) {
      w.amplitude *= shift_scale;
    }
  }
}

double Camera::wander(const std::vector<Wave>& waves, double t) const {
  double sum = 0.0;
  for (const Wave& w : waves) {
    sum += w.amplitude * std::sin(w.omega * t + w.phase);
  }
  return sum;
}

double Camera::turn(const std::vector<Wave>& waves, double t) const {
  if (spec_.steady_hz <= 0.0) {
    return wander(waves, t);
  }
  double sum = 0.0;
  for (const Wave& w : waves) {
    // A smoothing of second order without delay: a phone looks ahead.
    const double ratio = w.omega / (2.0 * std::numbers::pi * spec_.steady_hz);
    const double taken = 1.0 - 1.0 / (1.0 + ratio * ratio);
    sum += w.amplitude *
           (std::sin(w.omega * t + w.phase) -
            spec_.steady_gain * taken * std::sin(w.omega * (t - spec_.steady_lag_s) + w.phase));
  }
  return sum;
}

CameraPose Camera::pose(double t) const {
  const Eigen::Vector3d turned(turn(turn_[0], t), turn(turn_[1], t), turn(turn_[2], t));
  const double angle = turned.norm();
  CameraPose pose = mean_;
  if (angle > 1e-12) {
    pose.camera_from_range =
        Eigen::AngleAxisd(angle, turned / angle).toRotationMatrix() * mean_.camera_from_range;
  }
  pose.position_m +=
      Eigen::Vector3d(wander(shift_[0], t), wander(shift_[1], t), wander(shift_[2], t));
  return pose;
}

double Camera::row_delay(double x, double y) const {
  double share = 0.0;  // of the way from the first to the last stored row
  switch (picture_.rotation_deg) {
    case 90:
      share = 1.0 - x / (width_ - 1);
      break;
    case 180:
      share = 1.0 - y / (height_ - 1);
      break;
    case 270:
      share = x / (width_ - 1);
      break;
    default:
      share = y / (height_ - 1);
  }
  return spec_.readout_s * (share - 0.5);
}

std::optional<Eigen::Vector2d> Camera::project(const CameraPose& pose,
                                               const Eigen::Vector3d& p) const {
  const Eigen::Vector3d c = pose.camera_from_range * (p - pose.position_m);
  if (c.z() < 0.02) {
    return std::nullopt;
  }
  const double x = c.x() / c.z();
  const double y = c.y() / c.z();
  const double bend = 1.0 + spec_.k1 * (x * x + y * y);
  return Eigen::Vector2d(centre_x() + focal_px_ * x * bend, centre_y() + focal_px_ * y * bend);
}

Eigen::Vector3d Camera::camera_ray(double px, double py) const {
  const double dx = (px - centre_x()) / focal_px_;
  const double dy = (py - centre_y()) / focal_px_;
  double x = dx;
  double y = dy;
  if (spec_.k1 != 0.0) {
    for (int i = 0; i < 12; ++i) {
      const double bend = 1.0 + spec_.k1 * (x * x + y * y);
      x = dx / bend;
      y = dy / bend;
    }
  }
  return {x, y, 1.0};
}

Eigen::Vector3d Camera::ray(const CameraPose& pose, double px, double py) const {
  return pose.camera_from_range.transpose() * camera_ray(px, py);
}

}  // namespace clipmaker
