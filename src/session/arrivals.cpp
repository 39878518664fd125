#include <algorithm>
#include <system_error>

#include "file_stamp.hpp"
#include "nocktrail/media/extent.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/session/watch.hpp"

namespace nocktrail::session {
namespace fs = std::filesystem;

bool looks_whole(const fs::path& path) {
  std::error_code error;
  if (fs::file_size(path, error) == 0 && !error) {
    return false;
  }
  const media::Extent extent = media::extent_of(path);
  // No more bytes mend what is damaged.
  return !extent.ends_early && (extent.movie || extent.damaged || !extent.mp4_family);
}

bool Arrivals::was_settled(const std::string& identity) const {
  return std::any_of(files_.begin(), files_.end(), [&](const auto& entry) {
    return entry.second.settled && entry.second.identity == identity;
  });
}

void Arrivals::look_at(File& file, const fs::path& path, bool closed, Clock::time_point now,
                       std::chrono::system_clock::time_point wall) const {
  const std::optional<struct stat> status = file_status(path);
  const std::string stamp = status ? stamp_of(*status) : std::string();
  if (stamp != file.stamp) {
    const std::string last = file.settled ? file.stamp : file.last_settled;
    file = File{};
    file.last_settled = last;
    file.stamp = stamp;
    file.since = now;
    if (status) {
      file.identity = identity_of(*status);
      file.settled = was_settled(file.identity);  // renamed
      const auto changed = std::chrono::system_clock::from_time_t(status->st_ctim.tv_sec);
      if (wall - changed > options_.settle + std::chrono::seconds(1)) {
        file.since = now - options_.settle;
      }
    }
  }
  file.closed = file.closed || closed;
  if (file.settled || !status) {
    return;
  }
  const bool quiet = file.closed || now - file.since >= options_.settle;
  if (quiet && !file.whole) {
    file.whole = looks_whole(path);
  }
  file.settled = quiet && (file.whole || now - file.since >= options_.patience);
}

bool Arrivals::look(const fs::path& folder, const std::set<fs::path>& closed, Clock::time_point now,
                    std::chrono::system_clock::time_point wall) {
  // load() names what belongs to the session; its faults are for the reading to say.
  const Plan plan = load(folder);
  std::map<fs::path, File> files;
  std::map<fs::path, std::string> known;
  for (const PlannedSetup& setup : plan.setups) {
    const fs::path inside = setup.name == "." ? plan.folder : plan.folder / setup.name;
    known[inside] = "";
    const fs::path facts = inside / (setup.name == "." ? kSessionFile : kSetupFile);
    if (const auto status = file_status(facts)) {
      known[facts] = stamp_of(*status);
    }
    for (const PlannedClip& clip : setup.clips) {
      const auto before = files_.find(clip.path);
      File& file = files[clip.path] = before == files_.end() ? File{} : before->second;
      const fs::path there = on_disk(clip);
      look_at(file, there, closed.count(there) > 0, now, wall);
      // While a clip is being replaced the session stands as it was.
      if (file.settled || !file.last_settled.empty()) {
        known[clip.path] = file.settled ? file.stamp : file.last_settled;
      }
    }
  }
  if (const auto status = file_status(plan.folder / kSessionFile)) {
    known[plan.folder / kSessionFile] = stamp_of(*status);
  }
  const ArcherFiles archer = default_archer_files();
  for (const fs::path& file : {archer.profile, archer.phones}) {
    if (const auto status = file.empty() ? std::nullopt : file_status(file)) {
      known[file] = stamp_of(*status);
    }
  }
  for (const auto& [file, stamp] : KeptMarks(options_.marks).stamps()) {
    known[file] = stamp;
  }
  for (const std::string& message : plan.messages) {
    known[message] = "";  // a stray clip is worth a line
  }
  files_ = std::move(files);
  const bool due = !looked_ || known != known_;
  looked_ = true;
  known_ = std::move(known);
  return due;
}

bool Arrivals::settled(const fs::path& clip) const {
  const auto file = files_.find(clip);
  return file != files_.end() && file->second.settled;
}

std::set<fs::path> Arrivals::settled() const {
  std::set<fs::path> all;
  for (const auto& [path, file] : files_) {
    if (file.settled) {
      all.insert(path);
    }
  }
  return all;
}

std::vector<fs::path> Arrivals::waiting() const {
  std::vector<fs::path> all;
  for (const auto& [path, file] : files_) {
    if (!file.settled) {
      all.push_back(path);
    }
  }
  return all;
}

}  // namespace nocktrail::session
