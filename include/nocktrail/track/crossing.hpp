// Tells something that flies across the picture, as an arrow seen from the side does: at an even
// speed, sideways, over a good part of the width. What recedes slows down in the picture; limbs and
// hands do not get far.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/track/sweep.hpp"

namespace nocktrail::track {

struct CrossingOptions {
  std::size_t search_events = 2000;  // passings looked at, drawn evenly by frame
  int draws = 1500;                  // pairs tried
  double least_span = 0.35;          // of the picture's width that it flies over
  // Picture widths a second: an arrow of 40 m/s before a view of 12 m, 9 m away. A hand of 5 m/s
  // half a metre away is as fast, but does not get far.
  double least_widths_per_s = 3.0;
  double most_slope = 0.6;    // of its path against the picture's rows
  int least_frames = 6;       // in which it is seen
  int least_passings = 3;     // in each of these
  int most_crossings = 3;     // looked for
  double least_purity = 0.5;  // of the changes along its path, those at its time
  std::uint64_t seed = 1815;
};

struct Crossing {
  Eigen::Vector2d at_px = Eigen::Vector2d::Zero();  // where it is at t_s
  double t_s = 0.0;
  Eigen::Vector2d velocity_px_s = Eigen::Vector2d::Zero();
  double span_px = 0.0;
  int frames = 0;
};

// Those there are, the one seen in most frames first, distinct from each other: an arrow's shadow
// on the ground crosses the picture, too. t_s are the frames' capture times.
std::vector<Crossing> find_crossings(const std::vector<Passing>& passings,
                                     const std::vector<double>& t_s, const cv::Size& size,
                                     const CrossingOptions& options);

}  // namespace nocktrail::track
