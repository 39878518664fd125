// From an arrow's ends as a person marked them to its flight. Private to the pipeline.
#pragma once

#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/track/sighting.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {

struct MarkOptions {
  double sigma_px = 1.5;  // of a mark, each way: a finger, a magnifier (asked for); what the marks
                          // scatter by themselves raises it
  double bias_px = 2.0;   // along the shaft, alike in all frames: where in the blur of an end one
                          // person always puts it
  // A nock's ears stand some 6 mm behind its throat, and a point ends in its tip.
  flight::Prior nock_end_m{-0.003, 0.005};
  flight::Prior tip_end_m{0.0, 0.004};
  flight::Prior rear_drop_m{0.0, 0.002};  // a nock is marked, not the vane below it
};

// A mark tells an end both along and across the shaft.
track::ArrowSighting sighting_of_marks(int frame, double t_s,
                                       const std::optional<Eigen::Vector2d>& nock_px,
                                       const std::optional<Eigen::Vector2d>& tip_px,
                                       const MarkOptions& options = {});

// The straight flight that the marks make, by the two laws of track::Sweep: nock and point run
// through the same places, the point by the time cover_s earlier. `length_m` is the arrow's.
track::Sweep sweep_of_marks(const std::vector<track::ArrowSighting>& marked, double length_m,
                            double focal_px, const Eigen::Vector2d& principal_px);

// When the nock was seen to leave the string.
struct SeenExit {
  double t_s = 0.0;
  double sigma_s = 0.0;
};

struct MarkedFlight {
  flight::FlightFit fit;
  flight::Stroke stroke;
};

// Nothing where no flight comes of it. `given` holds what is believed beforehand but for the ends.
std::optional<MarkedFlight> fit_marked(const std::vector<track::ArrowSighting>& marked,
                                       const track::Sweep& sweep,
                                       const std::optional<SeenExit>& exit,
                                       const flight::FitOptions& given, double focal_px,
                                       const Eigen::Vector2d& principal_px,
                                       const MarkOptions& options = {});

// The same flight fitted anew, from `before` on, to marks and what pixels show of the shaft between
// them.
std::optional<MarkedFlight> fit_anew(const std::vector<track::ArrowSighting>& sightings,
                                     const flight::FlightFit& before,
                                     const std::optional<SeenExit>& exit,
                                     const flight::FitOptions& given, double focal_px,
                                     const MarkOptions& options = {});

// Of the marks' scatter: unlike what a program sees in neighbouring frames, each mark is a person's
// own try, so each coordinate counts but for those that the flight takes up.
double freedom_of_marks(const flight::FlightFit& fit);

}  // namespace nocktrail::pipeline
