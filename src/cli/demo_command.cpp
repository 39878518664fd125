#include "demo_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>
#include <vector>

#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/desk/demo_folder.hpp"
#include "nocktrail/desk/session_output.hpp"
#include "nocktrail/rules/words.hpp"
#include "session_output.hpp"

namespace nocktrail::cli {
namespace {

const char* const kFooter = R"(Examples:
  nocktrail demo
  nocktrail demo /tmp/rook-hollow

Leaves what a tuning session leaves: what the archer wrote (session.toml, a setup.toml in each
set-up's folder), readings, report, build sheet and a logbook of its own. Archer, bow and shots are
invented, the clips rendered by a program; one clip is there, of the others their readings. Change
a line and judge it anew: nocktrail session nocktrail-demo

Exit status: 0 it is there; 2 the folder is not new and empty, or cannot be written; 1 a fault of
the program itself, or the results could not be written; 130 stopped by Ctrl-C. But for 0 nothing
is left behind.)";

void say_what_to_do(const std::filesystem::path& folder, const desk::JudgedSession& judged) {
  const std::string shown = rules::printable(folder.string());
  fmt::print(
      "{0}: {1}\n"
      "Made up, not shot: {2}\n"
      "\n"
      "Report:      {3}\n"
      "Build sheet: {4}\n"
      "Its logbook: nocktrail logbook setups --logbook \"{0}/{5}\"\n"
      "\n"
      "To play with: open {0}/5-trimmed/setup.toml in an editor, take the # away from the last\n"
      "two lines, which leaves a shot out, and judge it anew:\n"
      "  nocktrail session \"{0}\"\n",
      shown, rules::printable(judged.read.record.name),
      rules::printable(judged.read.record.made_up), rules::printable(judged.report.string()),
      rules::printable((judged.report.parent_path() / "build-sheet.html").string()),
      desk::kMadeUpLogbook);
}

}  // namespace

CLI::App* add_demo_command(CLI::App& program, DemoArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "demo", "Leave a made-up session to play with: files, readings, report and build sheet");
  command->footer(kFooter);
  command->add_option("DIR", arguments.folder, "New or empty folder for it")
      ->type_name("")
      ->capture_default_str();
  return command;
}

int run_demo(const DemoArguments& arguments) {
  note_interrupts();
  desk::DemoFolder demo(arguments.folder);
  TerminalVoice terminal(false, stderr);
  std::vector<std::string> messages;
  desk::Voice voice = terminal.voice();
  voice.message = [&](const std::string& line) { messages.push_back(line); };
  voice.clip = [](const std::string&, const tune::ClipRecord&, const std::string&) {};
  desk::SessionOutput output(demo.path(), {}, voice);
  const desk::JudgedSession judged = output.run({});
  if (judged.read.stopped) {
    terminal.message("stopped; nothing was left behind");
    return kInterrupted;
  }
  if (!judged.published) {
    // The first line says what is in the way; the others speak of what goes away again.
    terminal.message(fmt::format("{}; nothing was left behind",
                                 messages.empty() ? "the demo could not be judged" : messages[0]));
    return kProgramFault;
  }
  demo.keep();
  say_what_to_do(arguments.folder, judged);
  return std::fflush(stdout) == 0 && std::ferror(stdout) == 0 ? session_status(judged)
                                                              : kProgramFault;
}

}  // namespace nocktrail::cli
