// What the tracker saw of the arrow: plain data for the flight fit.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

namespace nocktrail::track {

// A point on the shaft's centre line, known across the shaft only.
struct CentrePoint {
  Eigen::Vector2d at_px = Eigen::Vector2d::Zero();
  double sigma_px = 0.3;  // across the shaft, 1 sigma
};

// An end of the arrow, known along the shaft only (its place across comes from the centre line).
struct EndPoint {
  Eigen::Vector2d at_px = Eigen::Vector2d::Zero();
  double sigma_px = 1.2;  // along the shaft, 1 sigma
  // The outline of something nearer may have been taken for it: the arrow ends here or further out.
  bool may_be_hidden = false;
};

// The arrow in one steadied frame. Pixels are those of the reference frame.
struct ArrowSighting {
  int frame = 0;     // position in the steadied stretch
  double t_s = 0.0;  // capture time
  // Of the motion that was taken out of this frame, 1 sigma of each axis; 0: not weighed.
  double camera_sigma_px = 0.0;
  std::vector<CentrePoint> centre;
  double shown = 1.0;        // share of the shaft's length that stands out from the background
  double front_shown = 1.0;  // likewise, of its half towards the point
  std::optional<EndPoint> nock;
  std::optional<EndPoint> tip;
  // Far away, where the ends cannot be told apart: the middle of what is seen, along the shaft.
  std::optional<EndPoint> middle;
};

}  // namespace nocktrail::track
