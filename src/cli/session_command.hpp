// `nocktrail session`: a folder of clips in, the session's verdict and next step out.
#pragma once

#include <string>

#include "session_output.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct SessionArguments {
  std::string folder;
  SessionOutputArguments output;
  std::string json;  // "-" is standard output
  bool print_template = false;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_session_command(CLI::App& program, SessionArguments& arguments);

// Returns the exit status. Throws BadInput for a folder that cannot be used.
int run_session(const SessionArguments& arguments);

}  // namespace nocktrail::cli
