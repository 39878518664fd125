// One shot that lies in a session under several names: sent on by a messenger, cut, copied again.
// Such films are of other bytes and show one and the same flight; counted as several shots they
// would agree without an archer having shot twice.
#pragma once

#include <string>
#include <vector>

#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::tune {

// Whether two measured shots are the same one: the arrow is at the same places of the picture in
// frame after frame, whatever their times in the clip, before the same backdrop. `longer_px` is the
// longer side of each one's picture. False where either reading does not say where it was.
bool same_flight(const Shot& a, double longer_px_a, const Shot& b, double longer_px_b);

// Fills `same_as` in the clips of a session: of each flight one shot counts, that with the
// narrowest interval sideways, unless the archer left one of them out: then none does. Returns a
// line for each that does not.
std::vector<std::string> count_each_flight_once(SessionRecord& session);

}  // namespace nocktrail::tune
