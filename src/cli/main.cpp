// The command line: names the commands, turns faults into one line and an exit status.
#include <fmt/format.h>
#include <glog/logging.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <string>
#include <vector>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "demo_command.hpp"
#include "effects_command.hpp"
#include "exit_status.hpp"
#include "logbook_command.hpp"
#include "manual.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "nocktrail/version.hpp"
#include "profile_command.hpp"
#include "read_command.hpp"
#include "replay_command.hpp"
#include "serve_command.hpp"
#include "session_command.hpp"
#include "still_command.hpp"
#include "watch_command.hpp"

namespace {

using namespace nocktrail::cli;

// What people come for, ready to type.
constexpr const char* kWelcome =
    "nocktrail reads how an arrow leaves the bow, from a slow-motion clip filmed from behind.\n\n"
    "One clip:               nocktrail read --hand right --arrow-length 30in CLIP.mp4\n"
    "A folder of clips:      nocktrail session FOLDER\n"
    "What a change would do: nocktrail effects --template > setup.toml, then nocktrail effects "
    "setup.toml\n"
    "To look around first:   nocktrail demo\n\n"
    "nocktrail --help lists all commands.\n";

std::string suggestion(const std::string& word, const std::vector<std::string>& known) {
  const std::string name = nocktrail::units::nearest_name(word, known);
  return name.empty() ? name : fmt::format("; did you mean {}?", name);
}

// What is wrong with a command line, with the word that was nearly right.
std::string fault_words(const CLI::App& program, const std::string& message,
                        const std::string& first) {
  const auto chosen = program.get_subcommands();
  if (chosen.empty() && !first.starts_with('-')) {
    std::error_code ignored;
    if (std::filesystem::is_directory(first, ignored)) {
      return fmt::format("\"{0}\" is a folder; for a session of clips: nocktrail session {0}",
                         nocktrail::rules::printable(first));
    }
    if (std::filesystem::exists(first, ignored)) {
      return fmt::format("\"{0}\" is a file; to read a clip: nocktrail read {0}",
                         nocktrail::rules::printable(first));
    }
    std::vector<std::string> commands;
    for (const CLI::App* command : program.get_subcommands({})) {
      commands.push_back(command->get_name());
    }
    return fmt::format("\"{}\" is no command{}", nocktrail::rules::printable(first),
                       suggestion(first, commands));
  }
  if (constexpr std::string_view kNoNumber = "Could not convert: ";
      message.starts_with(kNoNumber)) {
    const std::string told = message.substr(kNoNumber.size());
    return fmt::format(
        "{} is no number{}", nocktrail::rules::printable(told),
        told.find(',') == std::string::npos ? "" : "; write a point before decimals");
  }
  const std::string word = message.substr(message.find_last_of(' ') + 1);
  if (!word.starts_with("--")) {
    return message;
  }
  std::vector<std::string> options;
  for (const CLI::Option* option : (chosen.empty() ? &program : chosen.front())->get_options()) {
    for (const std::string& name : option->get_lnames()) {
      options.push_back("--" + name);
    }
  }
  return message + suggestion(word.substr(0, word.find('=')), options);
}

// A variable of a script that was never set, a slip of the quotes: what was to be written or told
// would be lost without a word.
void refuse_empty_values(const CLI::App& command) {
  for (const CLI::Option* option : command.get_options()) {
    const std::vector<std::string>& given = option->results();
    if (option->count() > 0 && option->get_items_expected_min() > 0 &&
        std::find(given.begin(), given.end(), std::string()) != given.end()) {
      throw nocktrail::BadInput(fmt::format(
          "{}: nothing stands after it; name what is meant, or leave it out", option->get_name()));
    }
  }
  for (const CLI::App* part : command.get_subcommands()) {
    refuse_empty_values(*part);
  }
}

int run(int argc, char** argv) {
  if (argc == 1) {
    fmt::print(stderr, "{}", kWelcome);
    return kWrongUsage;
  }
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
  ReplayArguments replay_arguments;
  ProfileArguments profile_arguments;
  DemoArguments demo_arguments;
  ManualArguments manual_arguments;
  const CLI::App* read = add_read_command(program, read_arguments);
  const CLI::App* effects = add_effects_command(program, effects_arguments);
  const CLI::App* session = add_session_command(program, session_arguments);
  const CLI::App* watch = add_watch_command(program, watch_arguments);
  const CLI::App* serve = add_serve_command(program, serve_arguments);
  const CLI::App* logbook = add_logbook_command(program, logbook_arguments);
  const CLI::App* still = add_still_command(program, still_arguments);
  const CLI::App* replay = add_replay_command(program, replay_arguments);
  const CLI::App* profile = add_profile_command(program, profile_arguments);
  const CLI::App* demo = add_demo_command(program, demo_arguments);
  const CLI::App* manual = add_manual_command(program, manual_arguments);
  try {
    program.parse(argc, argv);
    refuse_empty_values(program);
    if (program.got_subcommand(read)) {
      return run_read(read_arguments);
    }
    if (program.got_subcommand(effects)) {
      return run_effects(effects_arguments);
    }
    if (program.got_subcommand(profile)) {
      return run_profile(profile_arguments);
    }
    if (program.got_subcommand(manual)) {
      return run_manual(program, manual_arguments);
    }
    if (program.got_subcommand(still)) {
      return run_still(still_arguments);
    }
    if (program.got_subcommand(replay)) {
      return run_replay(replay_arguments);
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
    if (program.got_subcommand(demo)) {
      return run_demo(demo_arguments);
    }
    if (program.got_subcommand(logbook)) {
      return run_logbook(*logbook, logbook_arguments);
    }
  } catch (const CLI::Success& asked) {  // --help, --version
    return program.exit(asked);
  } catch (const CLI::ParseError& fault) {
    fmt::print(stderr, "nocktrail: {}; see nocktrail --help\n",
               fault_words(program, fault.what(), argv[1]));
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
  // A file that may not grow further is a write that fails, said in a line like any other.
  std::signal(SIGXFSZ, SIG_IGN);
  // The solver tells of steps that it had to take back; here one line says what came of it.
  FLAGS_minloglevel = google::GLOG_FATAL;
  try {
    return run(argc, argv);
  } catch (const std::exception& fault) {
    std::fprintf(stderr, "nocktrail: fault in the program itself: %s\n", fault.what());
  } catch (...) {
    std::fputs("nocktrail: fault in the program itself\n", stderr);
  }
  return kProgramFault;
}
