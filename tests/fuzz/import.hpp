// What importing must hold, from JSON and from CSV.
#pragma once

#include <functional>

#include "fuzz.hpp"
#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::fuzz {

// Runs `import` on an empty logbook. Refused, the logbook stays empty (and is used again: making
// one takes longer than refusing). Taken, everything can be asked, and the export goes into
// another empty logbook and comes out the same.
void check_import(const std::function<void(logbook::Logbook&)>& import);

}  // namespace nocktrail::fuzz
