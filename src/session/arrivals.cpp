#include <algorithm>
#include <array>
#include <fstream>
#include <string_view>

#include "file_stamp.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/session/watch.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

// Boxes that such files begin with (ISO/IEC 14496-12; QuickTime's wide and pnot).
constexpr std::array<std::string_view, 8> kFirstBoxes = {"ftyp", "moov", "mdat", "wide",
                                                         "free", "skip", "pnot", "uuid"};

std::uint64_t big_endian(const char* bytes, int count) {
  std::uint64_t value = 0;
  for (int i = 0; i < count; ++i) {
    value = (value << 8U) | static_cast<unsigned char>(bytes[i]);
  }
  return value;
}

}  // namespace

bool looks_whole(const fs::path& path) {
  std::ifstream file(path, std::ios::binary | std::ios::ate);
  if (!file) {
    return true;  // reading it will say why
  }
  const auto size = static_cast<std::uint64_t>(file.tellg());
  if (size == 0) {
    return false;
  }
  bool movie = false;
  for (std::uint64_t at = 0; at < size;) {
    std::array<char, 16> head{};
    file.seekg(static_cast<std::streamoff>(at));
    file.read(head.data(), head.size());
    const auto got = static_cast<std::size_t>(file.gcount());
    file.clear();
    if (got < 8) {
      // Less than a box's head: of a file that began as one, a part is missing.
      return at == 0;
    }
    const std::string_view type(head.data() + 4, 4);
    if (at == 0 && std::find(kFirstBoxes.begin(), kFirstBoxes.end(), type) == kFirstBoxes.end()) {
      return true;  // of another family, or no video at all
    }
    std::uint64_t length = big_endian(head.data(), 4);
    if (length == 1) {
      if (got < 16) {
        return false;
      }
      length = big_endian(head.data() + 8, 8);
    } else if (length == 0) {
      length = size - at;  // to the end of the file
    }
    if (length < 8) {
      return true;  // damaged; no more bytes will mend it
    }
    if (length > size - at) {
      return false;
    }
    movie = movie || type == "moov";
    at += length;
  }
  return movie;
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
      look_at(file, clip.path, closed.count(clip.path) > 0, now, wall);
      // While a clip is being replaced the session stands as it was.
      if (file.settled || !file.last_settled.empty()) {
        known[clip.path] = file.settled ? file.stamp : file.last_settled;
      }
    }
  }
  if (const auto status = file_status(plan.folder / kSessionFile)) {
    known[plan.folder / kSessionFile] = stamp_of(*status);
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
