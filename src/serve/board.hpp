// What there is to show: put up by the watcher's thread, read by those that answer requests.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "nocktrail/desk/watcher.hpp"

namespace nocktrail::serve {

// A session as it was judged last, here or before this start.
struct Published {
  tune::SessionRecord record;
  tune::SessionJudgement judgement;
  nlohmann::json json;  // what session.json holds
};

struct Snapshot {
  std::shared_ptr<const Published> published;  // never null
  // Read since, in the order of reading, with the set-up of each.
  std::vector<std::pair<std::string, tune::ClipRecord>> fresh;
  std::optional<session::SessionEvents::Step> step;  // of a run that goes on
  std::vector<std::string> faults;                   // of hand-written files, until mended
  std::string hindered;                  // why what was read could not be judged; else empty
  std::vector<std::string> messages;     // the latest, oldest first
  std::set<std::filesystem::path> done;  // clips whose reading is published
  std::uint64_t version = 0;             // grows with every change
};

// In the place of a step that may no longer hold.
tune::Step being_judged();

class Board {
 public:
  // `told`: an event's name and its data, for open pages; called by any thread.
  using Told = std::function<void(const std::string& event, const std::string& data)>;

  // `results` as in OutputSettings: until the session is judged, what was judged last stands.
  Board(const std::filesystem::path& folder, const std::string& results, Told told);

  Snapshot snapshot() const;

  // Something of the folder's own files was changed from a page: open pages look again at once.
  void changed();

  // The voice and events with what is put up here added to them.
  desk::Voice listen(const desk::Voice& voice);
  desk::WatchEvents listen(const desk::WatchEvents& events);

 private:
  void note_step(const session::SessionEvents::Step& step);
  void note_judged(const desk::JudgedSession& judged);

  Told told_;
  std::filesystem::path folder_;
  mutable std::mutex mutex_;
  Snapshot now_;
  std::set<std::filesystem::path> settled_;  // as of the last look
  std::chrono::steady_clock::time_point last_step_{};
};

}  // namespace nocktrail::serve
