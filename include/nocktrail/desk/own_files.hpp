// The user's files that no command writes over, whatever is asked.
#pragma once

#include "nocktrail/session/output_check.hpp"

namespace nocktrail::desk {

// Knows the user's own logbook and phones file; the command adds what it reads.
session::OutputCheck own_files();

}  // namespace nocktrail::desk
