// What to say of the view where no number came out. Private to the pipeline.
#pragma once

#include <optional>

#include "nocktrail/reading.hpp"

namespace nocktrail::pipeline {

// Adds to the reason of a clip that is not measured what was told, or taken, for its view and may
// not be so. What forbids to shoot an arrow again is left as it is.
void hint_at_view(Reading& reading, const std::optional<View>& told);

}  // namespace nocktrail::pipeline
