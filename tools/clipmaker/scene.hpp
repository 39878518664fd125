// What a clip shows as bodies in space, frame by frame, for a renderer that is not ours.
#pragma once

#include <nlohmann/json.hpp>

#include "camera.hpp"
#include "flight.hpp"
#include "spec.hpp"

namespace clipmaker {

// Range frame, metres and seconds (docs/measurement.md). Camera without shake; each frame from just
// before the loose until the arrow is in the butt has `instants` bodies, evenly spaced from the
// first row's exposure begun to the last row's ended.
nlohmann::ordered_json scene_of(const ClipSpec& spec, const Camera& camera,
                                const ArrowFlight& flight, int frames);

}  // namespace clipmaker
