// nocktrail read: clips in, readings out.
#pragma once

#include <CLI/App.hpp>

namespace nocktrail::cli {

// Adds the command to the program. When it was asked for and has run, `exit_status` holds what the
// program is to exit with. Its callback throws BadInput for a value outside its range.
void add_read_command(CLI::App& program, int& exit_status);

}  // namespace nocktrail::cli
