#include "incoming.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <iterator>
#include <nlohmann/json.hpp>
#include <system_error>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_edit.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/safe_name.hpp"
#include "secret.hpp"

namespace nocktrail::serve {
namespace {

namespace fs = std::filesystem;

// Hidden, so that no reader takes it for a clip.
constexpr std::string_view kPart = ".nocktrail-coming-";
constexpr int kMostOfOneName = 1000;
constexpr const char* kPicture = "this is a picture: send the film of the shot, in slow motion";
constexpr std::size_t kTail = 1024;
constexpr std::size_t kCompared = std::size_t{1} << 18U;

constexpr const char* kFull =
    "there is no room for this clip on the computer's disk; make some and send it again";

[[noreturn]] void refuse_errno(int error) {
  if (error == ENOSPC || error == EDQUOT || error == EFBIG) {
    throw Refused(507, kFull);
  }
  throw Refused(500, fmt::format("the session's folder cannot be written ({}); see to it on the "
                                 "computer",
                                 std::strerror(error)));
}

session::Plan plan_of(const fs::path& folder) {
  try {
    return session::load(folder);
  } catch (const BadInput& problem) {
    throw Refused(500, problem.what());
  }
}

// Chosen beside the film in a phone's gallery.
bool is_picture(std::string_view name) {
  std::string plain(name.substr(name.size() - std::min<std::size_t>(name.size(), 5)));
  std::transform(plain.begin(), plain.end(), plain.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  constexpr std::string_view kPictures[] = {".heic", ".heif", ".jpg",  ".jpeg",
                                            ".png",  ".webp", ".avif", ".dng"};
  return std::any_of(std::begin(kPictures), std::end(kPictures),
                     [&](std::string_view ending) { return plain.ends_with(ending); });
}

// The name of the set-up's folder, which may have to be made.
std::string setup_for(const session::Plan& plan, const std::string& told) {
  const bool none_yet = plan.setups.size() == 1 && plan.setups.front().name == ".";
  if (told.empty()) {
    return plan.setups.back().name;
  }
  for (const session::PlannedSetup& setup : plan.setups) {
    if (setup.name == told) {
      return told;
    }
  }
  std::error_code error;
  const auto there = fs::symlink_status(plan.folder / told, error);
  const bool no_folder = fs::is_regular_file(there);
  if (told == "." || session::safe_name(told) != told || told == session::kResultsFolder ||
      told == session::kMarksFolder || no_folder) {
    throw Refused(400, "there is no such set-up; choose one of the session's");
  }
  if (none_yet && !plan.setups.front().clips.empty()) {
    throw Refused(400, fmt::format("this session's clips lie in its own folder; move them into a "
                                   "folder inside it, such as {}, before another set-up is begun",
                                   session::kGathered));
  }
  return told;
}

// A part of `most` bytes at `at`; less at the end of the file, empty where it cannot be read.
std::string part_of(int file, std::uint64_t at, std::size_t most) {
  std::string bytes(most, '\0');
  const ssize_t got = ::pread(file, bytes.data(), most, static_cast<off_t>(at));
  bytes.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
  return bytes;
}

// By its first bytes: JPEG (ITU-T T.81, B.1.1.3: SOI, then a marker), PNG (ISO/IEC 15948, 5.2).
bool begins_as_picture(std::string_view bytes) {
  return bytes.starts_with("\xff\xd8\xff") || bytes.starts_with("\x89PNG\r\n\x1a\n");
}

bool same_content(int file, const fs::path& other, std::uint64_t size) {
  const int second = ::open(other.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (second < 0) {
    return false;
  }
  bool same = true;
  for (std::uint64_t at = 0; at < size && same;) {
    const std::string a = part_of(file, at, kCompared);
    same = !a.empty() && a == part_of(second, at, kCompared);
    at += a.size();
  }
  ::close(second);
  return same;
}

}  // namespace

std::string kept_body(const Kept& kept) {
  return nlohmann::json{{"clip", kept.clip}, {"setup", kept.setup}}.dump(
      -1, ' ', false, nlohmann::json::error_handler_t::replace);
}

Incoming::Incoming(const fs::path& folder, std::string_view name, const std::string& setup,
                   std::uint64_t size, const IncomingLimits& limits)
    : name_(session::safe_clip_name(name)), size_(size) {
  if (name_.empty()) {
    throw Refused(
        400, is_picture(name) ? kPicture : "send a video under its name, such as IMG_0017.MOV");
  }
  if (size > limits.most_bytes) {
    throw Refused(413, "this file is larger than any clip of a shot; cut it to a few seconds");
  }
  const session::Plan plan = plan_of(folder);
  std::size_t clips = 0;
  for (const session::PlannedSetup& one : plan.setups) {
    clips += one.clips.size();
  }
  if (clips >= limits.most_clips) {
    throw Refused(507, "this session holds as many clips as one can; begin a new one");
  }
  session_ = plan.folder;
  setup_ = setup_for(plan, setup);
  const fs::path where = setup_ == "." ? session_ : session_ / setup_;
  made_ = ::mkdir(where.c_str(), 0777) == 0;
  if (!made_ && errno != EEXIST) {
    refuse_errno(errno);
  }
  folder_ = ::open(where.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
  if (folder_ < 0) {
    refuse_errno(errno);
  }
  part_ = fmt::format("{}{}", kPart, fresh_secret());
  file_ =
      ::openat(folder_, part_.c_str(), O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (file_ < 0) {
    const int error = errno;
    ::close(folder_);
    refuse_errno(error);
  }
  try {
    reserve(limits);
  } catch (...) {
    drop();
    throw;
  }
}

Incoming::~Incoming() {
  drop();
}

void Incoming::drop() {
  if (file_ >= 0) {
    ::unlinkat(folder_, part_.c_str(), 0);
    ::close(file_);
    ::close(folder_);
    file_ = -1;
    if (made_) {
      ::rmdir((session_ / setup_).c_str());  // stays where something else is in it by now
    }
  }
}

void Incoming::reserve(const IncomingLimits& limits) {
  ::flock(file_, LOCK_EX | LOCK_NB);  // tells clear_unfinished() that it is being written
  struct statvfs room {};
  if (::fstatvfs(file_, &room) == 0 && static_cast<std::uint64_t>(room.f_bavail) * room.f_frsize <
                                           size_ - taken_ + limits.keep_free_bytes) {
    throw Refused(507, kFull);
  }
  // Several that come at once must not count on the same room. A file system that cannot promise
  // it says so when it is written.
  if (size_ > 0 && ::fallocate(file_, FALLOC_FL_KEEP_SIZE, 0, static_cast<off_t>(size_)) != 0 &&
      errno != EOPNOTSUPP && errno != ENOSYS) {
    refuse_errno(errno);
  }
}

void Incoming::take(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t put = ::write(file_, bytes.data(), bytes.size());
    if (put < 0 && errno == EINTR) {
      continue;
    }
    if (put < 0) {
      refuse_errno(errno);
    }
    taken_ += static_cast<std::uint64_t>(put);
    const std::string_view last = bytes.substr(0, static_cast<std::size_t>(put));
    tail_ += last.substr(last.size() - std::min(last.size(), kTail));
    tail_.erase(0, tail_.size() - std::min(tail_.size(), kTail));
    bytes.remove_prefix(static_cast<std::size_t>(put));
  }
}

std::string Incoming::tail_hex() const {
  std::string digits;
  for (const char c : tail_) {
    digits += fmt::format("{:02x}", static_cast<unsigned char>(c));
  }
  return digits;
}

void Incoming::rest() {
  // Blocks beyond the end go as well (ftruncate(2), fallocate(2)); where not, they go with the
  // file.
  static_cast<void>(::ftruncate(file_, static_cast<off_t>(taken_)));
}

void Incoming::go_on(std::uint64_t from, std::uint64_t size, const IncomingLimits& limits) {
  if (size != size_ || from > taken_) {
    throw Refused(400, "this is another clip than the one that began to come in");
  }
  if (::ftruncate(file_, static_cast<off_t>(from)) != 0 ||
      ::lseek(file_, static_cast<off_t>(from), SEEK_SET) < 0) {
    refuse_errno(errno);
  }
  taken_ = from;
  const std::uint64_t tail = std::min<std::uint64_t>(from, kTail);
  tail_ = part_of(file_, from - tail, static_cast<std::size_t>(tail));
  reserve(limits);
}

std::string Incoming::known_as(Kept& kept) const {
  for (const session::PlannedSetup& setup : plan_of(session_).setups) {
    for (const session::PlannedClip& clip : setup.clips) {
      std::error_code error;
      if (fs::file_size(clip.path, error) == size_ && !error &&
          same_content(file_, clip.path, size_)) {
        kept.setup = setup.name;
        return clip.path.filename().string();
      }
    }
  }
  return {};
}

// Set-ups were begun while it came in: it belongs with those that were sent before.
void Incoming::follow_gathered() {
  if (setup_ != ".") {
    return;
  }
  const session::Plan plan = plan_of(session_);
  const bool gathered =
      std::any_of(plan.setups.begin(), plan.setups.end(),
                  [](const session::PlannedSetup& one) { return one.name == session::kGathered; });
  const int into = gathered ? ::open((session_ / session::kGathered).c_str(),
                                     O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC)
                            : -1;
  if (into < 0) {
    return;
  }
  if (::renameat(folder_, part_.c_str(), into, part_.c_str()) != 0) {
    ::close(into);
    return;  // it stays where it was sent, and the session says so
  }
  ::close(folder_);
  folder_ = into;
  setup_ = session::kGathered;
}

std::string Incoming::put_in_place() {
  const fs::path named(name_);
  for (int number = 1; number < kMostOfOneName; ++number) {
    std::string name = number == 1 ? name_
                                   : fmt::format("{}-{}{}", named.stem().string(), number,
                                                 named.extension().string());
    if (session::would_be_confused(session_, {setup_, name})) {
      continue;
    }
    if (::renameat2(folder_, part_.c_str(), folder_, name.c_str(), RENAME_NOREPLACE) == 0) {
      return name;
    }
    if (errno == EINVAL || errno == ENOSYS) {
      // A file system that cannot (FAT): nobody else puts files of this name here meanwhile.
      struct stat there {};
      if (::fstatat(folder_, name.c_str(), &there, AT_SYMLINK_NOFOLLOW) != 0) {
        if (::renameat(folder_, part_.c_str(), folder_, name.c_str()) == 0) {
          return name;
        }
        refuse_errno(errno);
      }
    } else if (errno != EEXIST) {
      refuse_errno(errno);
    }
  }
  throw Refused(400, "too many clips have this name; give it another");
}

Kept Incoming::keep() {
  if (taken_ != size_) {
    throw Refused(400, "the clip came in part only; send it again");
  }
  if (size_ == 0) {
    throw Refused(400, "this file is empty; send it again");
  }
  if (begins_as_picture(part_of(file_, 0, 8))) {
    throw Refused(400, kPicture);
  }
  follow_gathered();
  Kept kept;
  kept.setup = setup_;
  if (kept.clip = known_as(kept); !kept.clip.empty()) {
    kept.known = true;
    drop();
    return kept;
  }
  if (::fsync(file_) != 0) {
    refuse_errno(errno);
  }
  kept.clip = put_in_place();
  ::fsync(folder_);
  ::close(file_);
  ::close(folder_);
  file_ = -1;
  return kept;
}

void clear_unfinished(const fs::path& folder) {
  std::vector<fs::path> folders = {folder};
  std::error_code error;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, error)) {
    std::error_code gone;
    if (entry.is_directory(gone) && !entry.is_symlink(gone)) {
      folders.push_back(entry.path());
    }
  }
  for (const fs::path& one : folders) {
    fs::directory_iterator entry(one, error);
    for (; !error && entry != fs::directory_iterator(); entry.increment(error)) {
      if (!entry->path().filename().string().starts_with(kPart)) {
        continue;
      }
      // Another program in the same folder may be receiving.
      const int file = ::open(entry->path().c_str(), O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
      if (file >= 0 && ::flock(file, LOCK_EX | LOCK_NB) == 0) {
        ::unlink(entry->path().c_str());
      }
      if (file >= 0) {
        ::close(file);
      }
    }
  }
}

}  // namespace nocktrail::serve
