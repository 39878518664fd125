// The truth beside each clip: schema nocktrail.truth/1.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "camera.hpp"
#include "flight.hpp"
#include "spec.hpp"

namespace clipmaker {

nlohmann::ordered_json truth_of(const ClipSpec& spec, const std::string& clip_name,
                                const std::string& command, const Camera& camera,
                                const std::vector<ArrowFlight>& flights, int frames);

}  // namespace clipmaker
