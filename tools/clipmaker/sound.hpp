// The sound of the clip: string, impact, wind and room.
#pragma once

#include "encode.hpp"
#include "flight.hpp"
#include "spec.hpp"

namespace clipmaker {

// Mono samples over the clip's capture time.
Sound make_sound(const ClipSpec& spec, const std::vector<ArrowFlight>& flights);

}  // namespace clipmaker
