// `nocktrail replay`: the few frames of a flight as a film, two shots one over the other if asked.
#pragma once

#include <string>
#include <vector>

#include "read_command.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct ReplayArguments {
  ReadArguments read;      // of which the clips and the options of reading
  std::string out;         // empty: CLIP-replay.mp4 in the current folder
  std::vector<int> shots;  // from 1, of the clips in their order
  int per_second = 12;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_replay_command(CLI::App& program, ReplayArguments& arguments);

// Returns the exit status, as `read` has it; of a clip that is not measured no film is made. Throws
// BadInput.
int run_replay(const ReplayArguments& arguments);

}  // namespace nocktrail::cli
