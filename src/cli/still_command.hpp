// `nocktrail still`: one annotated picture of one clip, with what it was shot with on it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "read_command.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct StillArguments {
  ReadArguments read;  // of which the clip itself and the options of reading
  std::string out;     // empty: CLIP-still.png in the current folder
  std::string setup;   // a session.toml or setup.toml
  std::vector<std::string> particulars;
  std::optional<int> shot;  // from 1
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_still_command(CLI::App& program, StillArguments& arguments);

// Returns the exit status, as `read` has it; a clip that is not measured gives a picture with the
// reason. Throws BadInput.
int run_still(const StillArguments& arguments);

}  // namespace nocktrail::cli
