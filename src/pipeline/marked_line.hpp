// The shaft between the ends that a person marked, as the pixels show it. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sighting.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {

// The part of the picture that a marked flight runs through, the still background taken off.
track::Region region_of_marks(const std::vector<cv::Mat>& steadied, const std::vector<double>& t_s,
                              const track::Sweep& sweep, double first_s);

// The marks, and points of the shaft's line between them: in the marked frames and in those of the
// same flight that nobody marked. A finger tells an end to a pixel or two and never takes something
// else for the arrow; pixels tell the line to a fraction of one, once it is known where to look.
// Ends that only pixels show are not taken: a clip is marked because they mislead.
std::vector<track::ArrowSighting> with_line(const std::vector<track::ArrowSighting>& marked,
                                            const track::Region& region,
                                            const flight::FlightFit& fit,
                                            const std::vector<double>& t_s, const cv::Size& size,
                                            double across_px);

// How many of the marked frames show the line.
int marked_frames_with_line(const std::vector<track::ArrowSighting>& marked,
                            const std::vector<track::ArrowSighting>& with_line);

// The marks' squared distances from the fitted shaft's line, in squared sigmas of a mark.
double marks_beside_line(const std::vector<track::ArrowSighting>& marked,
                         const flight::FlightFit& fit);

}  // namespace nocktrail::pipeline
