// What `session` and `watch` share: reading the folder with progress on the terminal, and writing
// what came of it.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "nocktrail/session/output_check.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "progress_line.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct SessionOutputArguments {
  std::string results;  // empty: beside the clips
  std::string logbook;  // empty: the user's
  bool no_logbook = false;
  bool no_stills = false;
  bool quiet = false;
  double dead_band_deg = 0.5;
};

void add_output_options(CLI::App& command, SessionOutputArguments& arguments);

// What was read, and what it says.
struct JudgedSession {
  session::SessionRead read;
  tune::SessionJudgement judgement;
  // Judged, written and recorded, all of it. Without, what was there before still stands, and a
  // message says why, unless the read stopped or the hand-written files have faults.
  bool published = false;
  bool failed = false;  // something could not be written, or the program failed on a clip
};

class SessionOutput {
 public:
  // Throws BadInput for values out of range, for a folder that cannot be listed, and for a logbook
  // or a folder of results that is something else.
  SessionOutput(std::string folder, const SessionOutputArguments& arguments);

  // Reads what is new, judges all, and writes session.json, report.html, the build sheet once
  // there is one, and the logbook: all of that or, when anything is in the way, nothing. Says each
  // clip as it is read on `clips_to`. A message that was said by this object before is not said
  // again. Throws BadInput for a folder that cannot be used.
  JudgedSession run(const std::function<bool(const std::filesystem::path&)>& not_yet,
                    FILE* clips_to);

  void message(const std::string& line);

  // Knows what is in the folder; for what else the command writes.
  const session::OutputCheck& check() const { return check_; }

 private:
  void check_outputs();

  bool publish(const session::SessionRead& read, const report::OwnFolder& results,
               tune::SessionJudgement& judgement);
  void record(const session::SessionRead& read, const tune::SessionJudgement& judgement);
  void say_what_remains(const session::SessionRead& read);

  std::string folder_;
  session::OutputCheck check_;
  const SessionOutputArguments& arguments_;
  session::ReadSessionOptions options_;
  ProgressLine progress_;
  std::vector<std::string> said_;
};

// Exit status of a session that was read to its end.
int session_status(const JudgedSession& judged);

}  // namespace nocktrail::cli
