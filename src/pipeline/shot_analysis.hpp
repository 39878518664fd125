// One loose, from frames to a measured shot. Private to the pipeline.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/steady/steady.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {

struct AnalysisOptions {
  double focal_px = 0.0;
  double focal_relative_sigma = 0.10;
  std::optional<double> arrow_length_m;
  double before_s = 0.060;  // frames taken before the surge of motion
  double after_s = 0.180;   // and after it
  std::size_t most_frames = 64;
  double least_camera_distance_m = 0.12;  // of the camera from the line of flight; over the head
  double most_camera_distance_m = 0.95;   // it is 0.4-0.7 m; a fast arrow's shadow on the ground,
                                          // fitted as a slow arrow, seems to pass at 1.1 m
  std::filesystem::path debug_dir;
};

// What the analysis of one candidate loose ends with.
enum class Outcome {
  measured,  // a flight was fitted
  nothing,   // nothing here that recedes like an arrow
  disturbed  // the stretch cannot be used (cut, black, too few frames): `reason` says why
};

// How far the offset wandered between rounds of sighting and fitting that did not settle, 1 sigma.
struct OffsetScatter {
  double right_rad = 0.0;
  double high_rad = 0.0;
};

struct ShotAnalysis {
  Outcome outcome = Outcome::nothing;
  std::string reason;
  std::vector<long> frame_index;  // presented index of each frame of the stretch
  std::vector<double> frame_t_s;
  double surge_s = 0.0;  // when the motion in the picture surged
  steady::Steadied steadied;
  track::Sweep sweep;
  flight::FlightFit fit;
  std::vector<track::ArrowSighting> sightings;
  std::optional<flight::Stroke> stroke;
  OffsetScatter scatter;
};

// Scatter of the arrow's ends about one flight, in their sigmas, beyond which they are not its
// ends.
inline constexpr double kMostEndScale = 1.8;

// Whether a fit explains so many sightings so well that no other streak needs to be tried.
bool beyond_doubt(const flight::FlightFit& fit);

// `surge_s` is the capture time near which the string may have been let go.
ShotAnalysis analyse_loose(media::Clip& clip, double surge_s, const AnalysisOptions& options);

// The same for a knock in the sound at `knock_s`, with which a surge of motion must go.
ShotAnalysis analyse_knock(media::Clip& clip, double knock_s, const AnalysisOptions& options);

}  // namespace nocktrail::pipeline
