// One frame as the camera takes it: poses over the frame's time, and projection of moving points
// under the rolling shutter.
#pragma once

#include <array>
#include <optional>

#include "camera.hpp"

namespace clipmaker {

struct Seen {
  Eigen::Vector2d px = Eigen::Vector2d::Zero();
  double t_s = 0.0;  // when the row it falls on is exposed
};

class View {
 public:
  View(const Camera& camera, double t_s) : camera_(&camera), t_s_(t_s) {
    span_ = 0.5 * (camera.spec().readout_s + camera.spec().exposure_s) + 1e-5;
    for (std::size_t i = 0; i < kNodes; ++i) {
      nodes_[i] = camera.pose(t_s - span_ + 2.0 * span_ * static_cast<double>(i) / (kNodes - 1));
    }
  }
  const Camera& camera() const { return *camera_; }
  double time_s() const { return t_s_; }

  // The same frame seen from a little beside (camera axes): a spot of the aperture away from its
  // middle, with the focus far off.
  View from_beside(const Eigen::Vector3d& offset_m) const {
    View out = *this;
    for (CameraPose& pose : out.nodes_) {
      pose.position_m += pose.camera_from_range.transpose() * offset_m;
    }
    return out;
  }

  // The same frame with everything in it moved by `shift_m` (range frame).
  View with_moved(const Eigen::Vector3d& shift_m) const {
    View out = *this;
    for (CameraPose& pose : out.nodes_) {
      pose.position_m -= shift_m;
    }
    return out;
  }

  // Linear between nodes under a millisecond apart: far below a thousandth of a pixel off.
  CameraPose pose(double t) const {
    const double p =
        std::min(std::max((t - t_s_ + span_) / (2.0 * span_), 0.0), 1.0) * (kNodes - 1);
    const auto i = std::min(static_cast<std::size_t>(p), kNodes - 2);
    const double f = p - static_cast<double>(i);
    CameraPose out;
    out.camera_from_range = nodes_[i].camera_from_range +
                            f * (nodes_[i + 1].camera_from_range - nodes_[i].camera_from_range);
    out.position_m = nodes_[i].position_m + f * (nodes_[i + 1].position_m - nodes_[i].position_m);
    return out;
  }

  // Where point_at(time) is seen when the middle row is exposed at t; the row it falls on decides
  // the time, solved by fixed-point iteration (a few microseconds of row time per step).
  template <typename PointAt>
  std::optional<Seen> rolling(PointAt point_at, double t) const {
    double when = t;
    std::optional<Eigen::Vector2d> px;
    for (int i = 0; i < 4; ++i) {
      px = camera_->project(pose(when), point_at(when));
      if (!px) {
        return std::nullopt;
      }
      const double next = t + camera_->row_delay(px->x(), px->y());
      if (std::abs(next - when) < 1e-9) {
        break;
      }
      when = next;
    }
    return Seen{*px, when};
  }

 private:
  static constexpr std::size_t kNodes = 5;
  const Camera* camera_;
  double t_s_;
  double span_ = 0.0;
  std::array<CameraPose, kNodes> nodes_;
};

}  // namespace clipmaker
