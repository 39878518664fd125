// `nocktrail logbook`: what an archer asks of everything ever recorded, and the way out and in.
#pragma once

#include <string>

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct LogbookArguments {
  std::string file;  // empty: the user's
  std::string json;  // "-" is standard output
  std::string bow;
  std::string arrow;
  std::string year;
  std::string since;
  std::string until;
  bool history = false;
  std::string date;  // of before, of a note
  std::string note;  // of before
  std::string first_arrow;
  std::string second_arrow;
  std::string note_text;
  std::string csv;      // folder to export to; else a file, "-" standard output
  std::string from;     // file or folder to import, file to merge
  std::string clip;     // to forget
  std::string session;  // likewise
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_logbook_command(CLI::App& program, LogbookArguments& arguments);

// Runs the sub-command of `command` (as add_logbook_command gave it) that was named. Returns the
// exit status, 0. Throws BadInput for what the user can mend.
int run_logbook(const CLI::App& command, const LogbookArguments& arguments);

}  // namespace nocktrail::cli
