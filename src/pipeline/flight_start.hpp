// What a fit of the flight begins with. Private to the pipeline.
#pragma once

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/track/sweep.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// What is believed of the flight before its frames are looked at; `frame_s` lies between them.
flight::FitOptions fit_options(const media::ClipInfo& info, const AnalysisOptions& options,
                               double frame_s);

// A straight flight along the sweep.
flight::Parameters start_from(const track::Sweep& sweep, const flight::FlightPriors& priors,
                              double anchor_s, double focal_px);

}  // namespace nocktrail::pipeline
