// The command line: names the commands, turns faults into one line and an exit status.
#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>
#include <exception>

#include "exit_status.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/version.hpp"
#include "read_command.hpp"
#ifdef NOCKTRAIL_HAS_EFFECTS_COMMAND
#include "effects_command.hpp"
#endif

namespace {

using namespace nocktrail::cli;

int run(int argc, char** argv) {
  CLI::App program(
      "Reads how an arrow leaves the bow from a slow-motion clip filmed from behind the archer.",
      "nocktrail");
  program.set_version_flag("--version", std::string("nocktrail ") + nocktrail::kVersion);
  program.require_subcommand(1);
  program.footer("nocktrail COMMAND --help tells about one command.");
  int exit_status = kAllMeasured;
  add_read_command(program, exit_status);
#ifdef NOCKTRAIL_HAS_EFFECTS_COMMAND
  add_effects_command(program, exit_status);
#endif
  try {
    program.parse(argc, argv);
  } catch (const CLI::Success& asked) {  // --help, --version
    return program.exit(asked);
  } catch (const CLI::ParseError& fault) {
    fmt::print(stderr, "nocktrail: {}; see nocktrail --help\n", fault.what());
    return kWrongUsage;
  } catch (const nocktrail::BadInput& fault) {
    fmt::print(stderr, "nocktrail: {}\n", fault.what());
    return kWrongUsage;
  }
  return exit_status;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::exception& fault) {
    std::fprintf(stderr, "nocktrail: fault in the program itself: %s\n", fault.what());
  } catch (...) {
    std::fputs("nocktrail: fault in the program itself\n", stderr);
  }
  return kProgramFault;
}
