// `nocktrail demo`: a made-up session to play with.
#pragma once

#include <string>

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct DemoArguments {
  std::string folder = "nocktrail-demo";
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_demo_command(CLI::App& program, DemoArguments& arguments);

// Returns the exit status. Throws BadInput for a folder that cannot be used.
int run_demo(const DemoArguments& arguments);

}  // namespace nocktrail::cli
