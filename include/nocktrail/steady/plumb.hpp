// Which way is down in the picture, as the scenery shows it.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

namespace nocktrail::steady {

struct PlumbOptions {
  double above = 0.45;            // how far above the vanishing point to look, focal lengths
  double below = 0.07;            // and below it: the far edge of the ground, the foot of the butt
  double most_roll_rad = 0.14;    // 8 deg: held level by eye,
  double level_sigma_rad = 0.04;  // within 2.3 deg, 1 sigma
  double upright_px = 18.0;       // least length of an upright line
  double level_px = 36.0;         // and of a level one
  double line_sigma_rad = 0.005;  // trunks and posts do not stand quite true, 1 sigma
  double point_px = 0.5;          // how well a line's ends are found
  double pitch_sigma_rad = 0.03;  // of the camera's pitch as guessed from the vanishing point
  double turn_sigma = 0.25;       // tangent of how far far edges run off square to the flight
  int places = 24;                // columns of the picture; each speaks once, however full of lines
  double say = 2.5;               // log of how much one agreeing place speaks for a roll
  double floor_rad = 0.006;       // best believable accuracy
};

// At the vanishing point the plumb line runs along (sin roll, cos roll) in the picture.
struct Plumb {
  double roll_rad = 0.0;
  double sigma_rad = 0.0;
};

// Trunks, posts, the sides of a butt or a wall stand upright; hedge tops, roofs and the far edge of
// the ground, seen near the horizon, run level. `still` (CV_8UC1) is the picture without what
// moves, `vanishing_px` where the arrow flies to: some degrees from the horizon, in a part of the
// picture that the archer does not fill. Straight lines are found by the line segment detector of
// Grompone von Gioi et al. (2010, as in OpenCV); upright ones lean with the perspective of a camera
// that looks down, all meeting at the nadir (Hartley & Zisserman ch. 8). Each roll is weighed by
// the places of the picture that agree with it and by how level phones are held; returned are mean
// and standard deviation of that weight. A picture without such lines returns the latter alone.
Plumb find_plumb(const cv::Mat& still, const Eigen::Vector2d& vanishing_px, double focal_px,
                 const PlumbOptions& options);

}  // namespace nocktrail::steady
