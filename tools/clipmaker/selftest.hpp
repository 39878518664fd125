// Checks of the clip maker against outside knowledge and against its own drawing.
#pragma once

namespace clipmaker {

// Prints each check; the number of failures.
int self_test();

}  // namespace clipmaker
