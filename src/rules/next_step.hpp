// The trade's next small step for a verdict, in the trade's order: form and group first, then the
// nocking point, then spine, then brace height.
#pragma once

#include "nocktrail/rules/rules.hpp"

namespace nocktrail::rules {

// Fills next_step and cautions from the verdict words already in `verdict` and the offsets, in the
// frame of the bow, that led to them.
void add_next_step(Verdict& verdict, const Measured& lat_deg, const Measured& vert_deg,
                   const JudgeOptions& options);

}  // namespace nocktrail::rules
