// What the commands on a session's folder share of the terminal: their options, and who is told.
#pragma once

#include <cstdio>
#include <string>

#include "nocktrail/desk/session_output.hpp"
#include "progress_line.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct SessionOutputArguments {
  desk::OutputSettings settings;
  bool quiet = false;
};

void add_output_options(CLI::App& command, SessionOutputArguments& arguments);

// Lines to the terminal, with a line of progress on standard error where that is one.
class TerminalVoice {
 public:
  // Each clip as it is read is said on `clips_to`, unless `quiet`.
  TerminalVoice(bool quiet, FILE* clips_to);

  // Refers to this object, which must outlive it. Ends at Ctrl-C.
  desk::Voice voice();

  // "nocktrail: LINE" on standard error.
  void message(const std::string& line);
  // The line alone.
  void line(FILE* to, const std::string& line);

 private:
  ProgressLine progress_;
  bool quiet_;
  FILE* clips_to_;
};

// Exit status of a session that was read to its end.
int session_status(const desk::JudgedSession& judged);

}  // namespace nocktrail::cli
