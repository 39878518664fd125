// One loose filmed from the side, from steadied frames to a fitted flight. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/side/fit.hpp"
#include "nocktrail/steady/steady.hpp"
#include "nocktrail/track/crossing.hpp"
#include "nocktrail/track/sighting.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {

struct SideFlight {
  side::SideFit fit;
  std::vector<track::ArrowSighting> sightings;
  flight::Stroke stroke;
  double size_changed = 0.0;  // by what share the last round changed the size of the arrow
};

struct SideScene {
  const std::vector<cv::Mat>& luma;  // steadied
  const std::vector<double>& t_s;
  const std::vector<steady::FrameMotion>& motion;  // taken out of them
  double surge_s = 0.0;
  double surge_sigma_s = 0.0;
  double focal_px = 0.0;
  flight::FitOptions fit_options;  // length, focal length and read-out as from behind
};

// Follows what crosses the picture. nullopt where it is no arrow's flight. Of several things that
// fly alike the uppermost is the arrow, the others its shadows.
std::optional<SideFlight> follow_from_side(const SideScene& scene,
                                           const std::vector<track::Crossing>& crossings,
                                           const std::vector<track::Passing>& passings);

// The bow is to be in the picture: an exit that puts the rest outside of it is of another moment,
// and where the rest is then is known no better than by as much as it lies outside.
void doubt_rest_outside(const side::SideFit& fit, double picture_width_px, flight::Stroke& stroke);

// How far from the height of the camera's axis the flight is seen, rad: below positive.
double below_axis_rad(const side::SideFit& fit);

// Fewer frames, or sights of an end, do not make a flight.
inline constexpr int kLeastSideFrames = 5;
inline constexpr int kLeastSideEnds = 6;
// Ends that lie off the flight by more than twice what is believed of them, some 3 % of the arrow's
// length, are not the arrow's.
inline constexpr double kMostSideEndScale = 2.0;

// Whether that many frames go that well together that nothing else needs to be tried.
bool beyond_doubt(const side::SideFit& fit);

struct ShotAnalysis;
Shot side_shot_from(const ShotAnalysis& analysis, const media::ClipInfo& info);

}  // namespace nocktrail::pipeline
