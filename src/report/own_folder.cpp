#include "nocktrail/report/own_folder.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <utility>

#include "nocktrail/error.hpp"
#include "staged.hpp"

namespace nocktrail::report {
namespace {

namespace fs = std::filesystem;

// Far above the largest reading of a clip with many shots.
constexpr off_t kMostBytes = off_t{64} << 20U;

[[noreturn]] void cannot_use(const fs::path& path, const std::string& why) {
  throw BadInput(fmt::format(
      "{}: results cannot be written here ({}); give a folder that can be written with --results "
      "DIR",
      path.string(), why));
}

}  // namespace

struct OwnFolder::Publication::Files {
  std::vector<Staged> staged;
};

OwnFolder::OwnFolder(fs::path path, int fd, Say say)
    : path_(std::move(path)), fd_(fd), say_(std::move(say)) {
  clear_stale_parts(fd_);
}

OwnFolder::OwnFolder(OwnFolder&& other) noexcept
    : path_(std::move(other.path_)),
      fd_(std::exchange(other.fd_, -1)),
      say_(std::move(other.say_)) {}

OwnFolder& OwnFolder::operator=(OwnFolder&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(fd_, other.fd_);
  std::swap(say_, other.say_);
  return *this;
}

OwnFolder::~OwnFolder() {
  if (fd_ >= 0) {
    // A process that was killed just before may still have been on its way out at the beginning.
    clear_stale_parts(fd_);
    ::close(fd_);
  }
}

OwnFolder OwnFolder::open(const fs::path& path, bool named_by_user, Say say) {
  std::error_code error;
  if (!named_by_user && fs::is_symlink(fs::symlink_status(path, error))) {
    cannot_use(path, "it is a link to somewhere else, and results follow none");
  }
  fs::create_directories(path, error);
  const int follow = named_by_user ? 0 : O_NOFOLLOW;
  const int fd = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC | follow);
  if (fd < 0) {
    const int why = errno;
    cannot_use(path, why == ENOTDIR || why == ELOOP ? "a file of that name is in the way"
                     : error                        ? error.message()
                                                    : system_words(why));
  }
  OwnFolder folder(path, fd, std::move(say));
  if (::faccessat(fd, ".", W_OK | X_OK, AT_EACCESS) != 0) {
    cannot_use(path, system_words(errno));
  }
  return folder;
}

OwnFolder OwnFolder::inner(const std::string& name) const {
  const auto open_it = [&] {
    return ::openat(fd_, name.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
  };
  int fd = open_it();
  if (fd < 0 && (errno == ENOTDIR || errno == ELOOP)) {
    set_aside(name, "is no folder of ours");
    errno = ENOENT;
  }
  // Another worker may make it at the same instant.
  if (fd < 0 && errno == ENOENT && (::mkdirat(fd_, name.c_str(), 0777) == 0 || errno == EEXIST)) {
    fd = open_it();
  }
  if (fd < 0 || ::faccessat(fd, ".", W_OK | X_OK, AT_EACCESS) != 0) {
    const int why = errno;
    if (fd >= 0) {
      ::close(fd);
    }
    cannot_use(path_ / name, system_words(why));
  }
  return {path_ / name, fd, say_};
}

bool OwnFolder::has(const std::string& name) const {
  struct stat status {};
  return ::fstatat(fd_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) == 0 && S_ISREG(status.st_mode);
}

bool OwnFolder::is_link(const std::string& name) const {
  struct stat status {};
  return ::fstatat(fd_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) == 0 && S_ISLNK(status.st_mode);
}

std::optional<std::string> OwnFolder::stamp(const std::string& name) const {
  struct stat status {};
  if (::fstatat(fd_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0 || !S_ISREG(status.st_mode)) {
    return std::nullopt;
  }
  return fmt::format("{} {}.{}", status.st_size, status.st_mtim.tv_sec, status.st_mtim.tv_nsec);
}

std::optional<std::string> OwnFolder::content(const std::string& name) const {
  // Without blocking: it may be a pipe.
  const Descriptor file(
      ::openat(fd_, name.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK));
  struct stat status {};
  if (file.get() < 0 || ::fstat(file.get(), &status) != 0 || !S_ISREG(status.st_mode) ||
      status.st_size > kMostBytes) {
    return std::nullopt;
  }
  std::string bytes;
  std::array<char, 65536> part{};
  ssize_t got = 0;
  while ((got = ::read(file.get(), part.data(), part.size())) > 0) {
    bytes.append(part.data(), static_cast<std::size_t>(got));
    if (bytes.size() > static_cast<std::size_t>(kMostBytes)) {
      return std::nullopt;  // it grows as it is read
    }
  }
  return got == 0 ? std::optional<std::string>(std::move(bytes)) : std::nullopt;
}

std::vector<std::string> OwnFolder::names() const {
  const DirectoryList list(::fdopendir(::openat(fd_, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC)));
  std::vector<std::string> all;
  while (const dirent* entry = list ? ::readdir(list.get()) : nullptr) {
    all.emplace_back(entry->d_name);
  }
  return all;
}

void OwnFolder::remove(const std::string& name) const {
  static_cast<void>(::unlinkat(fd_, name.c_str(), 0));
}

void OwnFolder::rename(const std::string& from, const std::string& to) const {
  static_cast<void>(::renameat(fd_, from.c_str(), fd_, to.c_str()));
}

void OwnFolder::set_aside(const std::string& name, const std::string& why) const {
  const std::string aside = name + ".set-aside";
  if (::renameat(fd_, name.c_str(), fd_, aside.c_str()) != 0) {
    // What was set aside before is of another kind, or a folder that is not empty.
    const std::string other = fmt::format("{}-{}", aside, ::getpid());
    static_cast<void>(::renameat(fd_, name.c_str(), fd_, other.c_str()));
  }
  if (say_) {
    say_(
        fmt::format("{}: {}; set aside as {}, and made anew", (path_ / name).string(), why, aside));
  }
}

// rename() replaces files and links, and nothing else.
void OwnFolder::make_room(const std::string& name) const {
  struct stat status {};
  if (::fstatat(fd_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) == 0 && S_ISDIR(status.st_mode)) {
    set_aside(name, "is a folder where a file of ours belongs");
  }
  clear_stale_parts(fd_, name);  // what a killed run left
}

void OwnFolder::write_whole(const std::string& name, std::string_view bytes) const {
  make_room(name);
  Staged(fd_, name, path_ / name, bytes).commit();
}

OwnFolder::Publication::Publication(const OwnFolder& folder)
    : folder_(folder), files_(std::make_unique<Files>()) {}
OwnFolder::Publication::~Publication() = default;

void OwnFolder::Publication::add(const std::string& name, std::string_view bytes) {
  folder_.make_room(name);
  files_->staged.emplace_back(folder_.fd_, name, folder_.path_ / name, bytes);
}

void OwnFolder::Publication::commit() {
  for (Staged& file : files_->staged) {
    file.commit();
  }
}

int OwnFolder::open_lock(const std::string& name) const {
  const auto open_it = [&] {
    return ::openat(fd_, name.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK,
                    0666);
  };
  const int fd = open_it();
  if (fd < 0 && (errno == ELOOP || errno == EISDIR || errno == ENXIO)) {
    set_aside(name, "is not the file that it should be");
    return open_it();
  }
  return fd;
}

}  // namespace nocktrail::report
