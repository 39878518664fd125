#include "nocktrail/report/atomic_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>

#include "nocktrail/error.hpp"

namespace nocktrail::report {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void cannot_write(const fs::path& path, const std::string& why) {
  throw BadInput(
      fmt::format("{}: cannot be written ({}); give a file in a folder that exists and "
                  "that you may write to",
                  path.string(), why));
}

std::string system_words(int code) {
  return std::generic_category().message(code);
}

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) {
      ::close(fd_);
    }
  }
  int get() const { return fd_; }
  // Closes now; false when the system reports a late write error.
  bool close() {
    const int fd = fd_;
    fd_ = -1;
    return ::close(fd) == 0;
  }

 private:
  int fd_;
};

// 0, or the errno of the write that failed.
int write_all(int fd, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(fd, bytes.data(), bytes.size());
    if (written < 0) {
      if (errno == EINTR) {
        continue;
      }
      return errno;
    }
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return 0;
}

// The file a chain of links leads to, whether or not it exists yet.
fs::path link_target(const fs::path& path) {
  std::error_code error;
  fs::path target = path;
  for (int hops = 0; hops < 40 && fs::is_symlink(fs::symlink_status(target, error)); ++hops) {
    const fs::path next = fs::read_symlink(target, error);
    if (error) {
      break;
    }
    target = next.is_absolute() ? next : target.parent_path() / next;
  }
  return target;
}

bool is_stream(const fs::path& path) {
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  return fs::is_character_file(status) || fs::is_fifo(status) || fs::is_socket(status);
}

fs::path folder_of(const fs::path& path) {
  return path.has_parent_path() ? path.parent_path() : fs::path(".");
}

void write_stream(const fs::path& path, std::string_view bytes) {
  Descriptor out(::open(path.c_str(), O_WRONLY | O_CLOEXEC));
  if (out.get() < 0) {
    cannot_write(path, system_words(errno));
  }
  if (const int error = write_all(out.get(), bytes); error != 0) {
    cannot_write(path, system_words(error));
  }
}

}  // namespace

void write_file_whole(const fs::path& path, std::string_view bytes) {
  // Before links are followed: /dev/stdout is a chain of links to something without a name.
  if (is_stream(path)) {
    write_stream(path, bytes);
    return;
  }
  const fs::path target = link_target(path);
  std::error_code error;
  if (fs::is_directory(target, error)) {
    cannot_write(path, "it is a folder");
  }
  const fs::path temporary =
      folder_of(target) / fmt::format(".{}.{}.part", target.filename().string(), ::getpid());
  ::unlink(temporary.c_str());  // left by a killed process that had the same number
  Descriptor out(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666));
  if (out.get() < 0) {
    cannot_write(path, system_words(errno));
  }
  struct stat old_file {};
  if (::stat(target.c_str(), &old_file) == 0) {
    // Best effort: a file that exists keeps its permissions.
    static_cast<void>(::fchmod(out.get(), old_file.st_mode & 07777U));
  }
  int failure = write_all(out.get(), bytes);
  if (failure == 0 && ::fsync(out.get()) != 0) {
    failure = errno;
  }
  if (!out.close() && failure == 0) {
    failure = errno;
  }
  if (failure == 0 && ::rename(temporary.c_str(), target.c_str()) != 0) {
    failure = errno;
  }
  if (failure != 0) {
    ::unlink(temporary.c_str());
    cannot_write(path, system_words(failure));
  }
}

void check_writable(const fs::path& path) {
  if (is_stream(path)) {
    return;
  }
  const fs::path target = link_target(path);
  std::error_code error;
  if (target.filename().empty() || fs::is_directory(target, error)) {
    cannot_write(path, "it is a folder");
  }
  const fs::path folder = folder_of(target);
  if (!fs::is_directory(folder, error)) {
    cannot_write(path, "there is no such folder");
  }
  if (::access(folder.c_str(), W_OK | X_OK) != 0) {
    cannot_write(path, system_words(errno));
  }
}

}  // namespace nocktrail::report
