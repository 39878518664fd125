// When the arrow left the string, filmed from the side, and where the rest is. Private to the
// pipeline.
#pragma once

#include "nocktrail/side/path.hpp"
#include "nocktrail/side/sight.hpp"
#include "side_shot.hpp"

namespace nocktrail::pipeline {

// By the surge of motion at the loose, the point's places about the exit and, where it stood still
// before, at full draw. `first_s` is the first frame of the free flight that was fitted.
flight::Stroke stroke_from_side(const SideScene& scene, const side::Strip& strip,
                                const side::Path& path, const side::SideFit& fit, double first_s);

}  // namespace nocktrail::pipeline
