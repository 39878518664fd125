// What the arrow looks like and where it lies in each frame, in turn. Private to the pipeline.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "nocktrail/track/painted.hpp"

namespace nocktrail::pipeline {

// What is known of the arrow's looks from the rounds before.
struct KnownArrow {
  double side = 0.0;  // see track::learn_side
  std::optional<track::PaintedArrow> arrow;
};

// The arrow's place in each frame of the profiles, from what is known of its paint, which is learnt
// anew. Empty places where too few frames show it.
track::PaintedPlaces find_places(const track::Region& region,
                                 const std::vector<track::ShaftProfile>& profiles,
                                 double longest_exposure_s, const track::ShaftOptions& options,
                                 KnownArrow& known);

}  // namespace nocktrail::pipeline
