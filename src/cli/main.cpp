// The command line: names the commands, turns faults into one line and an exit status.
#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>
#include <exception>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "effects_command.hpp"
#include "exit_status.hpp"
#include "logbook_command.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/version.hpp"
#include "read_command.hpp"
#include "serve_command.hpp"
#include "session_command.hpp"
#include "still_command.hpp"
#include "watch_command.hpp"

namespace {

using namespace nocktrail::cli;

int run(int argc, char** argv) {
  CLI::App program(
      "Reads how an arrow leaves the bow from a slow-motion clip filmed from behind the archer.",
      "nocktrail");
  program.set_version_flag("--version", std::string("nocktrail ") + nocktrail::kVersion);
  program.require_subcommand(1);
  program.footer("nocktrail COMMAND --help tells about one command.");
  ReadArguments read_arguments;
  EffectsArguments effects_arguments;
  SessionArguments session_arguments;
  WatchArguments watch_arguments;
  ServeArguments serve_arguments;
  LogbookArguments logbook_arguments;
  StillArguments still_arguments;
  const CLI::App* read = add_read_command(program, read_arguments);
  const CLI::App* effects = add_effects_command(program, effects_arguments);
  const CLI::App* session = add_session_command(program, session_arguments);
  const CLI::App* watch = add_watch_command(program, watch_arguments);
  const CLI::App* serve = add_serve_command(program, serve_arguments);
  const CLI::App* logbook = add_logbook_command(program, logbook_arguments);
  const CLI::App* still = add_still_command(program, still_arguments);
  try {
    program.parse(argc, argv);
    if (program.got_subcommand(read)) {
      return run_read(read_arguments);
    }
    if (program.got_subcommand(effects)) {
      return run_effects(effects_arguments);
    }
    if (program.got_subcommand(still)) {
      return run_still(still_arguments);
    }
    if (program.got_subcommand(session)) {
      return run_session(session_arguments);
    }
    if (program.got_subcommand(watch)) {
      return run_watch(watch_arguments);
    }
    if (program.got_subcommand(serve)) {
      return run_serve(serve_arguments);
    }
    if (program.got_subcommand(logbook)) {
      return run_logbook(*logbook, logbook_arguments);
    }
  } catch (const CLI::Success& asked) {  // --help, --version
    return program.exit(asked);
  } catch (const CLI::ParseError& fault) {
    fmt::print(stderr, "nocktrail: {}; see nocktrail --help\n", fault.what());
    return kWrongUsage;
  } catch (const nocktrail::BadInput& fault) {
    fmt::print(stderr, "nocktrail: {}\n", fault.what());
    return kWrongUsage;
  }
  return kWrongUsage;
}

// Pictures come and go by the hundred: fetching each from the system anew, page by page, would take
// a tenth of the time. Other libraries of C than GNU's are left as they are.
void prepare_memory() {
#ifdef __GLIBC__
  mallopt(M_MMAP_THRESHOLD, 32 << 20);  // glibc takes no more
  mallopt(M_TRIM_THRESHOLD, 1 << 30);
#endif
}

}  // namespace

int main(int argc, char** argv) {
  prepare_memory();
  try {
    return run(argc, argv);
  } catch (const std::exception& fault) {
    std::fprintf(stderr, "nocktrail: fault in the program itself: %s\n", fault.what());
  } catch (...) {
    std::fputs("nocktrail: fault in the program itself\n", stderr);
  }
  return kProgramFault;
}
