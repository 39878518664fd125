// `nocktrail watch`: a session's folder read clip by clip, as they arrive.
#pragma once

#include <string>

#include "nocktrail/desk/watcher.hpp"
#include "session_output.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct WatchArguments {
  std::string folder;
  SessionOutputArguments output;
  desk::WatchSettings watch;
};

// How the folder is watched: the same options wherever it is.
void add_watch_options(CLI::App& command, desk::WatchSettings& settings);

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_watch_command(CLI::App& program, WatchArguments& arguments);

// Runs until Ctrl-C. Returns the exit status. Throws BadInput for a folder that cannot be used.
int run_watch(const WatchArguments& arguments);

}  // namespace nocktrail::cli
