// `nocktrail read`: clips in, readings out.
#pragma once

#include <string>
#include <vector>

#include "reading_options.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

// The command line as it was written.
struct ReadArguments : ReadingArguments {
  std::string json;  // "-" is standard output
  std::string still;
  std::string debug;
  std::string marks;
  std::string into;
  bool quiet = false;
  std::vector<std::string> clips;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_read_command(CLI::App& program, ReadArguments& arguments);

// Reads the clips one after another and writes what was asked for; a clip that fails never stops
// the others. Returns the exit status. Throws BadInput for a value outside its range or an output
// that cannot be written.
int run_read(const ReadArguments& arguments);

}  // namespace nocktrail::cli
