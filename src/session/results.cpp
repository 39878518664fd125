#include "results.hpp"

#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <nlohmann/json.hpp>
#include <system_error>

#include "file_stamp.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

constexpr const char* kFiles = "files.json";
constexpr const char* kFilesSchema = "nocktrail.session-files/1";

std::string checksum(const std::string& text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  return fmt::format("{:08x}", crc.checksum());
}

std::string key_of(const ReadWith& with) {
  const auto number = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.7g}", *value) : std::string("-");
  };
  std::string words =
      fmt::format("{} {} {} {}", number(with.arrow_length_m), number(with.focal_35mm),
                  number(with.capture_fps), with.program_version);
  if (with.target_distance_m) {  // readings from before it could be told keep their names
    words += ' ' + number(with.target_distance_m);
  }
  if (!with.marks.empty()) {
    words += '\n' + with.marks;
  }
  return checksum(words);
}

std::optional<std::string> stamp_at(const fs::path& path) {
  const std::optional<struct stat> status = file_status(path);
  return status ? std::optional<std::string>(stamp_of(*status)) : std::nullopt;
}

std::string reading_name(const std::string& sha256, const ReadWith& with) {
  return fmt::format("{}-{}.json", sha256, key_of(with));
}

bool has_text(const Json& j, const char* key) {
  return j.is_object() && j.contains(key) && j[key].is_string();
}

}  // namespace

bool suits(const ReadWith& made, const ReadWith& wanted) {
  return key_of(made) == key_of(wanted) && made.marks == wanted.marks;
}

Results::Results(const fs::path& folder, bool named_by_user, report::OwnFolder::Say say)
    : folder_(report::OwnFolder::open(folder, named_by_user, std::move(say))),
      readings_(folder_.inner("readings")),
      stills_(folder_) {}

void Results::load_files() {
  stills_.load();
  const std::optional<std::string> text = folder_.content(kFiles);
  const Json j = Json::parse(text.value_or("null"), nullptr, false);
  if (!has_text(j, "schema") || j["schema"] != kFilesSchema || !j.contains("files") ||
      !j["files"].is_object()) {
    const std::vector<std::string> names = folder_.names();
    if (std::find(names.begin(), names.end(), kFiles) != names.end()) {
      folder_.set_aside(kFiles, "is not what nocktrail keeps there");
    }
    return;
  }
  for (const auto& [path, entry] : j["files"].items()) {
    if (has_text(entry, "stamp") && has_text(entry, "sha256")) {
      seen_before_[path] = {entry["stamp"].get<std::string>(), entry["sha256"].get<std::string>()};
    }
  }
}

Results::~Results() {
  if (lock_fd_ >= 0) {
    ::close(lock_fd_);  // which lets the lock go
  }
}

bool Results::try_lock() {
  if (lock_fd_ < 0) {
    lock_fd_ = folder_.open_lock("lock");
  }
  if (lock_fd_ < 0) {
    throw BadInput(fmt::format("{}: cannot be written ({}); give another place with --results DIR",
                               rules::printable((folder_.path() / "lock").string()),
                               std::generic_category().message(errno)));
  }
  // A file system without locks must not stop the work: files are written whole all the same.
  return ::flock(lock_fd_, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK;
}

std::string Results::sha256_of(const fs::path& path) {
  const std::string name = path.string();
  const std::optional<std::string> stamp = stamp_at(path);
  if (stamp) {
    const std::lock_guard<std::mutex> guard(mutex_);
    for (auto* known : {&seen_, &seen_before_}) {
      const auto found = known->find(name);
      if (found != known->end() && found->second.stamp == *stamp) {
        return seen_.insert_or_assign(name, found->second).first->second.sha256;
      }
    }
  }
  std::string sha256 = media::sha256_of_file(path);
  // Written to while it was hashed: what was hashed is no content worth remembering.
  if (stamp && stamp_at(path) == stamp) {
    const std::lock_guard<std::mutex> guard(mutex_);
    seen_[name] = {*stamp, sha256};
  }
  return sha256;
}

void Results::keep_files() {
  Json files = Json::object();
  for (const auto& [path, seen] : seen_before_) {
    // Not asked for this time: left for later, or of another session with the same results.
    std::error_code error;
    if (fs::exists(path, error)) {
      files[path] = {{"stamp", seen.stamp}, {"sha256", seen.sha256}};
    }
  }
  for (const auto& [path, seen] : seen_) {
    files[path] = {{"stamp", seen.stamp}, {"sha256", seen.sha256}};
  }
  const Json document = {{"schema", kFilesSchema}, {"files", files}};
  folder_.write_whole(kFiles, document.dump(1, ' ', false, Json::error_handler_t::replace) + "\n");
}

std::optional<StoredReading> Results::find(const std::string& sha256, const ReadWith& with) const {
  const std::string name = reading_name(sha256, with);
  const std::optional<std::string> text = readings_.content(name);
  if (!text) {
    return std::nullopt;
  }
  try {
    StoredReading stored = stored_from_json(*text, name);
    // The name is a checksum; what is inside decides.
    if (stored.reading.clip.sha256 == sha256 && suits(stored.with, with)) {
      return stored;
    }
  } catch (const std::exception&) {
    // Damaged by something else than us: read anew.
  }
  return std::nullopt;
}

void Results::keep(const std::string& sha256, const StoredReading& stored) const {
  readings_.write_whole(reading_name(sha256, stored.with), to_json(stored));
}

}  // namespace nocktrail::session
