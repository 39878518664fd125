// `nocktrail serve`: a session's folder served to a phone at the shooting line.
#pragma once

#include <string>

#include "nocktrail/desk/watcher.hpp"
#include "nocktrail/serve/serve.hpp"
#include "session_output.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct ServeArguments {
  std::string folder = ".";
  SessionOutputArguments output;
  desk::WatchSettings watch;
  serve::ServeSettings serve;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_serve_command(CLI::App& program, ServeArguments& arguments);

// Runs until Ctrl-C. Returns the exit status. Throws BadInput for a folder that cannot be used.
int run_serve(const ServeArguments& arguments);

}  // namespace nocktrail::cli
