// What is kept of a session beside its clips.
//
//   readings/SHA256-KEY.json   one reading: of this content, read with these facts by this version
//   stills/, stills.json       drawn from it, by hand, cant and dead band (still_store.hpp)
//   files.json                 which content each file had when last looked at, to save hashing
//   lock                       held while one process works here
//
// KEY is a checksum of what the thing depends on besides the clip, so that a change of facts finds
// no file, and going back to the old facts finds the old one again. All files are written whole.
#pragma once

#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "nocktrail/reading.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "still_store.hpp"

namespace nocktrail::session {

// The facts that bear on measuring.
struct ReadWith {
  std::optional<double> arrow_length_m;
  std::optional<double> focal_35mm;
  std::optional<double> capture_fps;
  std::optional<double> target_distance_m;
  std::string program_version;
  // What a person marked, as report::marks_text writes what bears on measuring; empty: read by the
  // program.
  std::string marks;
};

// Whether what was read with `made` is what reading with `wanted` would give.
bool suits(const ReadWith& made, const ReadWith& wanted);

struct StoredReading {
  Reading reading;  // with what the schema of readings leaves out: fitted frames, correlation
  ReadWith with;
  std::string read_at_utc;
  std::string filmed_at_utc;  // by the clip's own tag; empty without
};

std::string to_json(const StoredReading& stored);
// Throws BadInput for text that is not what to_json wrote.
StoredReading stored_from_json(std::string_view text, std::string_view source);

class Results {
 public:
  // Makes the folders; `named_by_user` and `say` as for OwnFolder. Throws BadInput when that cannot
  // be done.
  Results(const std::filesystem::path& folder, bool named_by_user, report::OwnFolder::Say say);
  Results(const Results&) = delete;
  Results& operator=(const Results&) = delete;
  ~Results();

  const report::OwnFolder& folder() const { return folder_; }

  // False while another process holds the lock.
  bool try_lock();
  // Reads files.json and stills.json; once the lock is held. What is none of ours is set aside.
  void load_files();

  // The content of a file, hashed only when its size, times or place on the disk changed. Safe to
  // call from several threads. Throws UnreadableClip.
  std::string sha256_of(const std::filesystem::path& path);
  // Keeps what sha256_of learned, now and before, of the files that are still there.
  void keep_files();

  // Empty when there is none, or it is damaged.
  std::optional<StoredReading> find(const std::string& sha256, const ReadWith& with) const;
  // Throws BadInput when it cannot be written.
  void keep(const std::string& sha256, const StoredReading& stored) const;

  StillStore& stills() { return stills_; }

 private:
  struct Seen {
    std::string stamp;  // size, times, inode
    std::string sha256;
  };

  report::OwnFolder folder_;
  report::OwnFolder readings_;
  StillStore stills_;
  int lock_fd_ = -1;
  std::mutex mutex_;
  std::map<std::string, Seen> seen_before_;
  std::map<std::string, Seen> seen_;
};

}  // namespace nocktrail::session
