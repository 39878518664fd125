// The one loop over a session's folder: reads what is there, then every clip as it arrives.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "nocktrail/desk/session_output.hpp"
#include "nocktrail/session/watch.hpp"

namespace nocktrail::desk {

struct WatchSettings {
  bool poll = false;  // look every second, without the system's notifications
  double settle_s =
      2.0;  // how long a file must stay unchanged where its copying is not seen to end
};

// Who is told of more than a single run. Any of them may be empty.
struct WatchEvents {
  // What became of a clip that was here before, and the state of the session when it changed: one
  // printable line.
  std::function<void(const std::string& line)> line;
  // A copy that goes on, said once for each clip.
  std::function<void(const std::filesystem::path& clip)> arriving;
  // After each look, before anything is read: the clips that are whole, and will be in the next
  // run.
  std::function<void(const std::set<std::filesystem::path>& settled)> looked;
  // A run that ended without being stopped: published, or why not (faults in hand-written files).
  std::function<void(const JudgedSession& judged)> judged;
};

class Watcher {
 public:
  // Throws BadInput like SessionOutput, and for settings out of range. `voice.stop` ends the loop.
  Watcher(std::filesystem::path folder, const OutputSettings& output, const WatchSettings& settings,
          const Voice& voice, WatchEvents events);

  // Until it is stopped. Throws BadInput for a folder that cannot be used; once anything was read
  // there, waits for it instead.
  void run();

 private:
  // What is where, by content.
  using Places = std::map<std::string, std::string>;

  static Places places_of(const tune::SessionRecord& record);
  bool stopped() const { return voice_.stop && voice_.stop(); }
  void look();
  void name_waiting();
  void read();
  void note_places(Places now);
  void say(const std::string& line) const;

  std::filesystem::path folder_;
  Voice voice_;
  WatchEvents events_;
  bool poll_;
  SessionOutput output_;
  session::FolderWatch folder_watch_;
  session::Arrivals arrivals_;
  session::Arrivals::Clock::time_point last_run_{};
  bool began_ = false;
  bool retry_ = false;
  std::set<std::filesystem::path> waiting_;
  Places places_;
  std::string last_line_;
  std::string away_;
};

}  // namespace nocktrail::desk
