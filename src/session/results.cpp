#include "results.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <boost/crc.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <system_error>

#include "file_stamp.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

constexpr const char* kFilesSchema = "nocktrail.session-files/1";
constexpr std::size_t kShortSha = 16;  // of a still's name: enough to tell any set of clips apart

std::string checksum(const std::string& text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  return fmt::format("{:08x}", crc.checksum());
}

std::string key_of(const ReadWith& with) {
  const auto number = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.7g}", *value) : std::string("-");
  };
  return checksum(fmt::format("{} {} {} {}", number(with.arrow_length_m), number(with.focal_35mm),
                              number(with.capture_fps), with.program_version));
}

std::optional<std::string> content(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  if (!file || !(text << file.rdbuf())) {
    return std::nullopt;
  }
  return text.str();
}

std::optional<std::string> stamp_at(const fs::path& path) {
  const std::optional<struct stat> status = file_status(path);
  return status ? std::optional<std::string>(stamp_of(*status)) : std::nullopt;
}

void make_folder(const fs::path& folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (!fs::is_directory(folder, error)) {
    throw BadInput(fmt::format(
        "{}: this folder for the results cannot be made ({}); give one that can be with --results "
        "DIR",
        rules::printable(folder.string()),
        error ? error.message() : std::string("a file of that name is in the way")));
  }
  if (::access(folder.c_str(), W_OK | X_OK) != 0) {
    throw BadInput(
        fmt::format("{}: results cannot be written here ({}); give a folder that can be written "
                    "with --results DIR",
                    rules::printable(folder.string()), std::generic_category().message(errno)));
  }
}

}  // namespace

Results::Results(const fs::path& folder) : folder_(folder) {
  make_folder(folder_);
  make_folder(folder_ / "readings");
  make_folder(folder_ / "stills");
  const std::optional<std::string> text = content(folder_ / "files.json");
  const Json j = Json::parse(text.value_or("null"), nullptr, false);
  if (j.is_object() && j.value("schema", "") == kFilesSchema && j["files"].is_object()) {
    for (const auto& [path, entry] : j["files"].items()) {
      if (entry.is_object() && entry.contains("stamp") && entry["stamp"].is_string() &&
          entry.contains("sha256") && entry["sha256"].is_string()) {
        seen_before_[path] = {entry["stamp"].get<std::string>(),
                              entry["sha256"].get<std::string>()};
      }
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
    lock_fd_ = ::open((folder_ / "lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  }
  if (lock_fd_ < 0) {
    throw BadInput(fmt::format("{}: cannot be written ({}); give another place with --results DIR",
                               rules::printable((folder_ / "lock").string()),
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
  report::write_file_whole(folder_ / "files.json",
                           document.dump(1, ' ', false, Json::error_handler_t::replace) + "\n");
}

fs::path Results::reading_path(const std::string& sha256, const ReadWith& with) const {
  return folder_ / "readings" / fmt::format("{}-{}.json", sha256, key_of(with));
}

std::optional<StoredReading> Results::find(const std::string& sha256, const ReadWith& with) const {
  const fs::path path = reading_path(sha256, with);
  const std::optional<std::string> text = content(path);
  if (!text) {
    return std::nullopt;
  }
  try {
    StoredReading stored = stored_from_json(*text, path.string());
    // The name is a checksum; what is inside decides.
    if (stored.reading.clip.sha256 == sha256 && key_of(stored.with) == key_of(with)) {
      return stored;
    }
  } catch (const std::exception&) {
    // Damaged by something else than us: read anew.
  }
  return std::nullopt;
}

void Results::keep(const std::string& sha256, const StoredReading& stored) const {
  report::write_file_whole(reading_path(sha256, stored.with), to_json(stored));
}

fs::path Results::still(const std::string& sha256, const std::string& judged_by,
                        std::size_t shot) const {
  return folder_ / "stills" /
         fmt::format("{}-{}{}.png", sha256.substr(0, kShortSha), checksum(judged_by),
                     shot == 0 ? std::string() : fmt::format("-shot{}", shot + 1));
}

void Results::drop_other_stills(const std::string& sha256, const std::string& judged_by) const {
  const std::string of_this = sha256.substr(0, kShortSha) + "-";
  const std::string keep = of_this + checksum(judged_by);
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder_ / "stills", error)) {
    const std::string name = entry.path().filename().string();
    if (name.starts_with(of_this) && !name.starts_with(keep)) {
      std::error_code ignored;
      fs::remove(entry.path(), ignored);
    }
  }
}

}  // namespace nocktrail::session
