// The flight across the picture, coarsely: along which line, and when where.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/track/crossing.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::side {

// Positions are `s` px along the line from at_px. A body of even speed whose line of flight leaves
// the plane of the picture runs as s = (start + rate tau) / (1 + recede tau), tau = t - from_s.
struct Path {
  Eigen::Vector2d at_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d along = Eigen::Vector2d::UnitX();  // unit, the way it flies
  double from_s = 0.0;
  double start_px = 0.0;
  double rate_px_s = 0.0;
  double recede_per_s = 0.0;
  double cover_s = 0.0;  // how long a pixel stays covered: arrow's length over its speed
  int frames = 0;        // in which it was seen

  double middle_px(double t_s) const {
    const double tau = t_s - from_s;
    return (start_px + rate_px_s * tau) / (1.0 + recede_per_s * tau);
  }
  double speed_px_s(double t_s) const {
    const double far = 1.0 + recede_per_s * (t_s - from_s);
    return (rate_px_s - recede_per_s * start_px) / (far * far);
  }
  double length_px(double t_s) const { return cover_s * speed_px_s(t_s); }
  // Of a place in the picture; how far it lies beside the line does not matter.
  double along_px(const Eigen::Vector2d& px) const { return (px - at_px).dot(along); }
  Eigen::Vector2d across() const { return {-along.y(), along.x()}; }
};

// Through the passings that go with a crossing. nullopt where they make no such line.
std::optional<Path> find_path(const track::Crossing& crossing,
                              const std::vector<track::Passing>& passings,
                              const std::vector<double>& t_s);

}  // namespace nocktrail::side
