// Which of the ends seen from the side are the arrow's. Private to the pipeline.
#pragma once

#include <vector>

#include "nocktrail/side/path.hpp"
#include "nocktrail/track/sighting.hpp"

namespace nocktrail::pipeline {

// The ends of one arrow run as its middle does, but for a steady drift. Those that do not go with a
// run that many of their kind agree on are where ground and arrow part, not where the arrow ends,
// and are taken out: a fit that begins with them may settle on another arrow altogether.
// `length_px`: about the arrow's in the picture.
void keep_ends_of_one_run(std::vector<track::ArrowSighting>& sightings, const side::Path& path,
                          double length_px);

}  // namespace nocktrail::pipeline
