// Clips that arrive one by one: when to look, and when a copy has finished.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <set>
#include <string>
#include <vector>

namespace nocktrail::session {

// Wakes when something in a session's folder may have changed: by the system's notifications
// (inotify), by waiting where there are none. What changed is for Arrivals to find out, so a lost
// notification costs time and nothing else.
class FolderWatch {
 public:
  // `poll`: use no notifications.
  explicit FolderWatch(bool poll = false);
  FolderWatch(const FolderWatch&) = delete;
  FolderWatch& operator=(const FolderWatch&) = delete;
  ~FolderWatch();

  bool notified() const { return fd_ >= 0; }

  // Watches the folder and the folders right inside it. To be called before each look, so that new
  // folders are watched before their files are listed.
  void cover(const std::filesystem::path& named);

  // Returns at the first change, or after `most`, or when a signal arrives.
  void wait(std::chrono::milliseconds most);

  // Files whose writer closed them, or that were moved in, since the last call.
  std::set<std::filesystem::path> take_closed();

 private:
  void watch(const std::filesystem::path& folder);
  void drain();

  int fd_ = -1;
  std::map<int, std::filesystem::path> folders_;
  std::set<std::filesystem::path> closed_;
};

// False while a file is only half there: a part of it reaches past its end, or, of the MP4 and
// QuickTime family, the movie box is missing (ISO/IEC 14496-12, 8.2.1). True for a file of which
// that cannot be told: whether it can be read shows when it is read. False for an empty file.
bool looks_whole(const std::filesystem::path& path);

struct ArrivalOptions {
  // A file must stay unchanged this long before it is read, unless its writer was seen to close
  // it. Copies over a slow line pause for a second and more.
  std::chrono::milliseconds settle{2000};
  // A file that does not look whole but stays unchanged for this long is let through: its copy was
  // broken off, and reading it says so.
  std::chrono::seconds patience{120};
  // Where marks made by hand lie (kept_marks.hpp); a change of any is due to be read.
  std::filesystem::path marks = {};
};

// What is in a session's folder, looked at again and again.
class Arrivals {
 public:
  using Clock = std::chrono::steady_clock;

  explicit Arrivals(const ArrivalOptions& options) : options_(options) {}

  // Lists the folder. True when a reading is due: a clip settled, changed, was renamed or went, a
  // hand-written file changed, a set-up's folder came or went; and the first time. `wall` is the
  // clock of file times: a file that was last changed long before is settled at once. Throws
  // BadInput when the folder cannot be listed.
  bool look(const std::filesystem::path& folder, const std::set<std::filesystem::path>& closed,
            Clock::time_point now, std::chrono::system_clock::time_point wall);

  // Of the last look.
  bool settled(const std::filesystem::path& clip) const;
  std::set<std::filesystem::path> settled() const;
  // Clips that are not settled yet.
  std::vector<std::filesystem::path> waiting() const;

 private:
  struct File {
    std::string stamp;         // size, times, place on the disk
    std::string identity;      // the same before and after a rename
    std::string last_settled;  // the stamp it had when it was last read
    Clock::time_point since;
    bool closed = false;
    bool whole = false;
    bool settled = false;
  };

  bool was_settled(const std::string& identity) const;
  void look_at(File& file, const std::filesystem::path& path, bool closed, Clock::time_point now,
               std::chrono::system_clock::time_point wall) const;

  ArrivalOptions options_;
  std::map<std::filesystem::path, File> files_;
  std::map<std::filesystem::path, std::string> known_;  // what the last due reading had before it
  bool looked_ = false;
};

}  // namespace nocktrail::session
