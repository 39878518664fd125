// The two panels of the still that show the clip itself.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "canvas.hpp"
#include "strobe.hpp"

namespace nocktrail::picture {

// Which part of a picture a panel shows: panel = box corner + scale (picture - origin), both in
// corner-based pixels.
struct View {
  Eigen::Vector2d origin_px = Eigen::Vector2d::Zero();
  double scale = 1.0;
};

// The view of `box`'s shape that holds all `points_px` with `margin` (share of the view) on each
// side, no smaller than `least_width_px` of picture, inside the picture where it fits.
View view_of(const std::vector<Eigen::Vector2d>& points_px, const cv::Size& picture, const Box& box,
             double margin, double least_width_px);

// Draws the strobe picture with each shown shaft, the path of flight and distances, and the upper
// limb where it was seen (`limb_px`, upward; may be empty).
void draw_strobe_panel(Canvas& canvas, const Box& box, const cv::Mat& strobe,
                       const std::vector<Instant>& all, const std::vector<Instant>& shown,
                       const std::vector<Eigen::Vector2d>& limb_px);

// Draws one frame enlarged about its shaft: the shaft as fitted, and where it would lie if the
// arrow flew straight.
void draw_enlarged_panel(Canvas& canvas, const Box& box, const cv::Mat& frame,
                         const FittedFrame& fitted);

// A whole frame, fitted into the box, for clips without a measured shot.
void draw_plain_panel(Canvas& canvas, const Box& box, const cv::Mat& frame);

}  // namespace nocktrail::picture
