// From a flight as it is fitted so far to what the frames show of it. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sweep.hpp"
#include "painter.hpp"

namespace nocktrail::pipeline {

// How far around the model to look.
struct Search {
  double across_px = 3.0;
  double along_share = 0.2;  // of the arrow's length in the picture
  double bend_slack = 0.0;   // of the arrow's length in the picture, see Expected
  bool painted = false;
  std::optional<std::size_t> left_out{};  // of each kThirds frames, this one
};
inline constexpr std::size_t kThirds = 3;
inline bool is_left_out(std::size_t frame, const std::optional<std::size_t>& third) {
  return third && frame % kThirds == *third;
}

// Along a sweep, before there is a fit.
std::vector<track::ArrowSighting> coarse_sightings(const track::Region& region,
                                                   const track::Sweep& sweep,
                                                   const std::vector<double>& t_s,
                                                   const track::ShaftOptions& options);

// Cuts the arrow open in every frame from first_s on in which the model puts it into the picture,
// and sights it: with `painted`, each frame is matched to the arrow's paint as all frames show it.
std::vector<track::ArrowSighting> fine_sightings(const track::Region& region,
                                                 const flight::FlightFit& fit, double first_s,
                                                 const std::vector<double>& t_s,
                                                 const cv::Size& size, const Search& search,
                                                 const track::ShaftOptions& options,
                                                 KnownArrow& known);

// The arrow where it is too small for that, as the middle of what is seen of it, and only as long
// as it is seen to fly on: not the arrow that sticks in the butt.
std::vector<track::ArrowSighting> far_sightings(const track::Region& region,
                                                const flight::FlightFit& fit,
                                                const std::vector<double>& t_s,
                                                const cv::Size& size);

// The point's places in the frames around the exit, for the power stroke. `before` has the picture
// before the loose as its background: bow and hand hardly move during the stroke, so that what is
// new in front of them is the arrow. On the string the arrow does not lie on the backward
// continuation of its flight, hence the wide search across.
std::vector<flight::TipPlace> tip_places(const track::Region& region, const flight::FlightFit& fit,
                                         const std::vector<double>& t_s, double from_s, double to_s,
                                         const cv::Size& size, const track::ShaftOptions& options);

}  // namespace nocktrail::pipeline
