#include "watch_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>

#include "interrupt.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::cli {
namespace {

const char* const kFooter = R"(Example:
  nocktrail watch spring

Reads what is in the folder as `nocktrail session` does, then every clip as it arrives: one line
for each, and the next step. A clip is read when its copy has finished. A clip may be replaced,
renamed or removed at any time, and session.toml or a setup.toml edited; results follow. Ctrl-C
ends it; started again it goes on where it was.

Exit status: 0 ended by Ctrl-C; 2 the command line is wrong or the folder cannot be used; 1 a fault
of the program itself.)";

}  // namespace

void add_watch_options(CLI::App& command, desk::WatchSettings& settings) {
  command.add_flag("--poll", settings.poll,
                   "Look every second instead of waiting for the\nsystem's notifications");
  command
      .add_option("--settle", settings.settle_s,
                  "How long a file must stay unchanged before it is read,\nwhere its copying is "
                  "not seen to end")
      ->type_name("SECONDS")
      ->capture_default_str();
}

CLI::App* add_watch_command(CLI::App& program, WatchArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "watch", "Read a session's folder clip by clip, as they arrive, until Ctrl-C");
  command->footer(kFooter);
  command->add_option("DIR", arguments.folder, "Folder of the session")->type_name("")->required();
  add_output_options(*command, arguments.output);
  add_watch_options(*command, arguments.watch);
  return command;
}

int run_watch(const WatchArguments& arguments) {
  note_interrupts();
  TerminalVoice terminal(arguments.output.quiet, stdout);
  desk::WatchEvents events;
  events.line = [&](const std::string& line) { terminal.line(stdout, line); };
  if (!arguments.output.quiet) {
    events.arriving = [&](const std::filesystem::path& clip) {
      terminal.message(fmt::format("{}: arriving", rules::printable(clip.filename().string())));
    };
  }
  desk::Watcher(arguments.folder, arguments.output.settings, arguments.watch, terminal.voice(),
                events)
      .run();
  terminal.message("stopped watching; what was read is kept");
  return std::fflush(stdout) == 0 && std::ferror(stdout) == 0 ? 0 : 1;
}

}  // namespace nocktrail::cli
