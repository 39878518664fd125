// One receding streak, from its coarse sight to a fitted flight. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "effort.hpp"
#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/track/sweep.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// The steadied stretch in which streaks are followed.
struct Scene {
  const std::vector<cv::Mat>& luma;  // steadied
  const std::vector<double>& t_s;
  const std::vector<steady::FrameMotion>& motion;  // taken out of them; at least as many
  const cv::Mat& still;                            // the background, CV_8UC1
  flight::FitOptions fit_options;
};

// A streak followed to a flight.
struct Followed {
  flight::FlightFit fit;
  std::vector<track::ArrowSighting> sightings;
  flight::Stroke stroke;
  Measured right;  // the headline's, rad
  double high_rad = 0.0;
  double speed_mps = 0.0;
  OffsetScatter scatter;  // the three as in ShotAnalysis
  OffsetScatter apart;
  int thirds_lost = 0;
  double surge_s = 0.0;  // when the motion surged, by the flight's own word where it knows better
};

// Nothing where the streak is no arrow's, as soon as that can be told. Pictures for the debug
// folder are left of a flight with more ends than `ends_to_beat`.
std::optional<Followed> follow(const Scene& scene, const track::Sweep& sweep, double surge_s,
                               const AnalysisOptions& options, int ends_to_beat, Effort& effort);

}  // namespace nocktrail::pipeline
