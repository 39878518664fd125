#include "session_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "exit_status.hpp"
#include "interrupt.hpp"
#include "new_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/report/lines.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

const char* const kFooter = R"(Examples:
  nocktrail session --template spring
  nocktrail session spring

The folder holds clips, or a sub-folder of clips for each set-up, taken in the order of their
names; session.toml and each set-up's setup.toml say what was shot. Clips read before are not read
again. Results go to nocktrail-results beside the clips: session.json, report.html, readings,
stills, and the build sheet once the set-up is found.

Exit status: 0 some shot was measured; 2 the command line or a hand-written file is wrong, nothing
was read; 3 nothing was measured; 4 some file could not be read as video; 1 a fault of the program
itself, or results or logbook could not be written: then what was there before still stands; 130
stopped by Ctrl-C, the next run goes on.)";

void make_template(const std::filesystem::path& folder) {
  const std::filesystem::path path = folder / "session.toml";
  write_new_file(path, session::session_template());
  fmt::print("{}\nFill in what you know, put the clips beside it, and run: nocktrail session {}\n",
             rules::printable(path.string()), rules::printable(folder.string()));
}

}  // namespace

CLI::App* add_session_command(CLI::App& program, SessionArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "session", "Read a folder of clips, set-up by set-up, and say what to change next");
  command->footer(kFooter);
  command
      ->add_option("DIR", arguments.folder,
                   "Folder of the session; the one you are in if you name none")
      ->type_name("");
  add_output_options(*command, arguments.output);
  command
      ->add_option("--json", arguments.json,
                   "Write what session.json holds to FILE as well; \"-\"\nis standard output, "
                   "which then carries nothing else")
      ->type_name("FILE|-");
  command->add_flag(
      "--template", arguments.print_template,
      "Write a session.toml to fill in into DIR, which is made if need be;\nprint one where no DIR "
      "is named");
  return command;
}

int run_session(const SessionArguments& arguments) {
  if (arguments.print_template) {
    if (arguments.folder.empty()) {
      fmt::print("{}", session::session_template());
    } else {
      make_template(arguments.folder);
    }
    return 0;
  }
  note_interrupts();
  TerminalVoice terminal(arguments.output.quiet, stderr);
  desk::SessionOutput output(arguments.folder.empty() ? "." : arguments.folder,
                             arguments.output.settings, terminal.voice());
  if (!arguments.json.empty() && arguments.json != "-") {
    output.check().check("--json", arguments.json, session::json_of("nocktrail.session/"));
  }
  desk::JudgedSession judged = output.run({});
  const session::SessionRead& read = judged.read;
  if (!read.faults.empty()) {
    output.message("nothing was read; mend what is named above and run again");
    return kWrongUsage;
  }
  if (read.stopped) {
    output.message(fmt::format("stopped; {} clips are read, {} are left for the next run",
                               read.fresh + read.kept, read.unread));
    return kInterrupted;
  }
  if (!judged.published) {
    return kProgramFault;
  }
  if (arguments.json == "-") {
    fmt::print("{}\n", session::session_json(read.record, judged.judgement, read.messages).dump(2));
  } else {
    fmt::print("{}\nReport: {}\n",
               report::lines(tune::judgement_text(read.record, judged.judgement), text_columns(0)),
               rules::printable(judged.report.string()));
    if (!arguments.json.empty()) {
      try {
        report::write_file_whole(
            arguments.json,
            session::session_json(read.record, judged.judgement, read.messages).dump(2) + "\n");
      } catch (const BadInput& problem) {
        judged.failed = true;
        output.message(problem.what());
      }
    }
  }
  if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
    fmt::print(stderr, "nocktrail: standard output could not be written\n");
    return kProgramFault;
  }
  return session_status(judged);
}

}  // namespace nocktrail::cli
