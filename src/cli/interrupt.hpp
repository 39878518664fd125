// Ctrl-C as a question the work can ask, so that it stops between steps and leaves nothing
// half-written.
#pragma once

namespace nocktrail::cli {

// From here on the first SIGINT or SIGTERM is only noted; a second one ends the program at once,
// and so does the first when the program has not ended by itself fifteen seconds later.
void note_interrupts();

bool interrupted();

}  // namespace nocktrail::cli
