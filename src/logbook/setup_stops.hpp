// What forbids to shoot as a set-up was shot. Private to the logbook.
#pragma once

#include <vector>

#include "nocktrail/logbook/answers.hpp"

namespace nocktrail::logbook {

// Fills in `stops`: by the facts, by the mean, else by one shot of `single` that counts, of which
// one is enough.
void add_stops(std::vector<SetupAnswer>& setups, const std::vector<ShotAnswer>& single);

}  // namespace nocktrail::logbook
