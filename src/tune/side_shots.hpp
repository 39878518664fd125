// Shots filmed from the side: what they say of up and down, in the frame of the bow. Private to the
// room.
#pragma once

#include "nocktrail/tune/statistics.hpp"
#include "setup_view.hpp"

namespace nocktrail::tune {

// Those of the clips, with the archer's reasons for leaving some out; no values in the frame of the
// bow yet. Of a shot that is loosed with the other hand than the set-up's nothing counts, as from
// behind.
void gather_side_shots(const SetupRecord& setup, const SetupFacts& facts,
                       SetupJudgement& judgement);

// Turns each by its cant, told for its clip or the set-up's, with its lateral offset from behind
// for what they do not see,
//     vert = (high + lat sin c) / cos c
// (the inverse of docs/measurement.md's), and joins their mean with the one from behind by the
// intervals; where the two are further apart than these allow, says so and widens. Needs both
// summaries from behind, and is done before what is not known of the cant is added: that moves
// either view by lat (for small angles) alike. Sigmas carried: theirs, what they share, and the
// lateral mean's. True where the two do not agree.
bool join_side_shots(SetupJudgement& judgement, const ScatterPrior& scatter);

// How many count.
int counted_from_side(const SetupJudgement& judgement);

}  // namespace nocktrail::tune
