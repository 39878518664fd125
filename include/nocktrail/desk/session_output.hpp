// The one way from a session's folder to its results, whoever asks for it: `session`, `watch` and
// `serve` read, judge, write and record through this, and differ in whom they tell.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/session/output_check.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::desk {

// In the folder of a session that was never shot, which stays out of the user's own logbook.
inline constexpr const char* kMadeUpLogbook = "logbook.sqlite";

// What the user asks of the results.
struct OutputSettings {
  std::string results;  // folder; empty: beside the clips
  std::string logbook;  // file; empty: the user's
  bool no_logbook = false;
  bool no_stills = false;
  double dead_band_deg = 0.5;  // offsets smaller than this count as straight
};

// Who is told as the work goes on, by one thread at a time. All but `message` may be empty.
// None of them may throw: what takes no more words (a full disk, a closed pipe) must not stop the
// work, least of all in a reader's thread.
struct Voice {
  // One printable line for a person.
  std::function<void(const std::string& line)> message = [](const std::string&) {};
  std::function<void(const session::SessionEvents::Step& step)> step;
  // A clip was read just now; its still is not drawn yet.
  std::function<void(const std::string& setup, const tune::ClipRecord& clip)> read;
  // A clip that was read just now is ready; `line` says it in words. Empty: the line is a message
  // where the clip cannot be read, and is not said otherwise.
  std::function<void(const std::string& setup, const tune::ClipRecord& clip,
                     const std::string& line)>
      clip;
  std::function<bool()> stop;  // true: stop soon
};

// What was read, and what it says.
struct JudgedSession {
  session::SessionRead read;
  tune::SessionJudgement judgement;
  // Judged, written and recorded, all of it. Without, what was there before still stands, and a
  // message says why, unless the read stopped or the hand-written files have faults.
  bool published = false;
  std::filesystem::path report;  // for a browser, where it was published
  bool failed = false;           // something could not be written, or the program failed on a clip
  std::string hindered = {};     // why it could not be published, one line; else empty
};

class SessionOutput {
 public:
  // Throws BadInput for values out of range, for a folder that cannot be listed, and for a logbook
  // or a folder of results that is something else.
  SessionOutput(std::filesystem::path folder, OutputSettings settings, Voice voice);

  // Reads what is new, judges all, and writes session.json, report.html, the build sheet once
  // there is one, and the logbook: all of that or, when anything is in the way, nothing. Clips for
  // which `not_yet` says true are left for later; it may be empty. A message that was said by this
  // object before is not said again. Throws BadInput for a folder that cannot be used.
  JudgedSession run(const std::function<bool(const std::filesystem::path&)>& not_yet);

  // Says a line, once in this object's life.
  void message(const std::string& line);

  // Knows what is in the folder; for what else the caller writes.
  const session::OutputCheck& check() const { return check_; }

 private:
  void check_outputs();
  void note_clip(const std::string& setup, const tune::ClipRecord& clip, bool fresh);
  // Empty, or what is in the way.
  std::string publish(const session::SessionRead& read, const report::OwnFolder& results,
                      tune::SessionJudgement& judgement);
  std::filesystem::path logbook_file(const tune::SessionRecord& session) const;
  void record(const session::SessionRead& read, const tune::SessionJudgement& judgement);
  void say_what_remains(const session::SessionRead& read);

  std::filesystem::path folder_;
  OutputSettings settings_;
  Voice voice_;
  session::OutputCheck check_;
  session::ReadSessionOptions options_;
  std::vector<std::string> said_;
};

}  // namespace nocktrail::desk
