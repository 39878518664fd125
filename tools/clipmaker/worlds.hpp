// Worlds that depart from the one that the sampler draws, each by one group of causes, so that what
// a reader takes for granted of arrows, bows, cameras and files is tried where it does not hold.
#pragma once

#include <string>
#include <vector>

#include "rng.hpp"
#include "spec.hpp"

namespace clipmaker {

// All worlds; "plain" departs in nothing but that arrows leave as archers nock them.
const std::vector<std::string>& worlds();

// Turns a drawn clip into one of the world: all that the world does not name stays as it was drawn,
// so that clips of two worlds pair. Vanes lie as nocked, the odd one away from the bow. What a file
// goes through after it was filmed (worlds codec, drops) is done to it by tools/worlds.sh.
// Throws std::runtime_error for a world that there is not.
void depart(ClipSpec& spec, const std::string& world, Rng& rng);

}  // namespace clipmaker
