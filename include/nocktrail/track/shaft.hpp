// Sub-pixel sight of the arrow, frame by frame, in the part of the picture the flight runs through.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/flight/observation.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::track {

struct ShaftOptions {
  double grey_floor = 1.2;        // least assumed pixel noise, grey levels
  double changed_sigma = 4.0;     // a pixel this far from the background may be arrow
  double edge_softness_px = 0.9;  // lens and codec blur of an edge, 1 sigma, for the templates
  double least_contrast_sigma = 4.0;  // a slice or end weaker than this is not used
  double centre_floor_px = 0.08;  // best believable accuracy of one slice
  double end_floor_px = 0.7;      // best believable accuracy of an end
};

// The stretch of frames cut to the flight's part of the picture, the still background taken off.
struct Region {
  cv::Rect roi;                     // in the reference frame
  std::vector<cv::Mat> difference;  // CV_32F, grey levels, frame minus background
  cv::Mat background;               // CV_32F
  cv::Mat sigma;                    // CV_32F, noise of one pixel of `difference`
};

// The region that the sweep can touch, from just short of the vanishing point to the picture's
// edge.
Region cut_region(const std::vector<cv::Mat>& steadied, const Sweep& sweep,
                  const ShaftOptions& options);

// The shaft near where the sweep expects it, as two end points (both coordinates trustworthy to a
// pixel or two): a straight chain of changed pixels. nullopt when there is none.
struct CoarseShaft {
  Eigen::Vector2d nock_px;
  Eigen::Vector2d tip_px;
};
std::optional<CoarseShaft> coarse_shaft(const Region& region, std::size_t frame, const Sweep& sweep,
                                        double t_s, const ShaftOptions& options);

// Where to look in the fine pass.
struct Expected {
  Eigen::Vector2d nock_px;
  Eigen::Vector2d tip_px;
  double width_px = 3.0;        // of the shaft
  double search_across_px = 3.0;
  double search_along_px = 6.0;
};

// Measures centre points and ends around the expected shaft: matched filter across slices of the
// shaft, half-contrast crossing along it. Empty sighting when nothing stands out.
flight::ArrowSighting measure_shaft(const Region& region, std::size_t frame, double t_s,
                                    const Expected& expected, const ShaftOptions& options);

// The foremost end of a shaft that lies along `curve` (points about a pixel apart, from near the
// bow outward to empty ground), as a fractional index into it: coming from the far end, where
// something as thin as a shaft begins and goes on. nullopt when nothing stands out, or when even
// the far end is disturbed.
std::optional<double> foremost_end(const Region& region, std::size_t frame,
                                   const std::vector<Eigen::Vector2d>& curve,
                                   const std::vector<double>& width_px, double search_across_px,
                                   const ShaftOptions& options);

}  // namespace nocktrail::track
