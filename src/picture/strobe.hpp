// Several instants of one flight laid over one background.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/picture/still.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail::picture {

// A fitted frame whose shaft can be drawn, with the shaft in pixels of the reference frame.
struct Instant {
  FittedFrame fitted;
  Eigen::Vector2d nock_in_reference_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d tip_in_reference_px = Eigen::Vector2d::Zero();
};

// The fitted frames with finite, drawable geometry, in time order.
std::vector<Instant> drawable_instants(const Shot& shot);

// Index into `instants` of the one whose nock is nearest 2 m past the rest; instants not empty.
std::size_t reference_distance_instant(const std::vector<Instant>& instants);

// Those of `instants` to show: the one nearest the reference distance, and others before and after
// it as dense as they can be with shafts that hardly overlap in the picture; at most `most`.
std::vector<Instant> spaced_instants(const std::vector<Instant>& instants, std::size_t most = 8);

// The picture: the background without the arrow (per-pixel median of aligned frames), and beside
// each shown shaft the pixels of its instant that differ most from it. CV_8UC3, BGR, size of the
// clip; empty when no frame could be fetched.
cv::Mat strobe_picture(const Shot& shot, const std::vector<Instant>& all,
                       const std::vector<Instant>& shown, const FrameFetcher& fetch);

}  // namespace nocktrail::picture
