// Pictures of what each stage saw, written when a debug folder is given. Private to the pipeline.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/bow/limb.hpp"
#include "nocktrail/flight/fit.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {

// The passings, coloured by time, and the best sweeps over the reference frame.
void debug_sweeps(const std::filesystem::path& folder, double surge_s, const cv::Mat& reference,
                  const std::vector<track::Passing>& passings,
                  const std::vector<track::Sweep>& sweeps);

// Every sighted frame's difference picture, enlarged, with observations and fitted shaft, and a
// text file of residuals.
void debug_fit(const std::filesystem::path& folder, double surge_s, const track::Region& region,
               const flight::FlightFit& fit, const std::vector<track::ArrowSighting>& sightings);

// The picture in which the limb was looked for, the rest, and where it was found its edges and the
// fitted middle.
void debug_limb(const std::filesystem::path& folder, double surge_s, const cv::Mat& picture,
                const bow::Place& place, const std::optional<bow::SeenLimb>& limb);

}  // namespace nocktrail::pipeline
