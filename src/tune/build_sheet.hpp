// What to write down of a finished set-up, and how alike the rest of the set must be.
#pragma once

#include "advice.hpp"

namespace nocktrail::tune {

BuildSheet build_sheet(const Situation& situation);

}  // namespace nocktrail::tune
