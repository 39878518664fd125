// One simulated shot as JSON, for programs that share no code with this one (the clip maker).
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// Schema nocktrail.exit-state/1, described in docs/arrow-model.md. Frame: the bow held upright, X
// to the shooter's right, heights upward, origin at the shaft's axis where it just touches plate
// and shelf. The set-up must be valid (setup_check.hpp). Throws BadInput when the shaft folds under
// the thrust: there is no flight to hand on.
nlohmann::json exit_state_json(const Setup& setup, const Unknowns& unknowns = {});

}  // namespace nocktrail::arrow
