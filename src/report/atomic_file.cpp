#include "nocktrail/report/atomic_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>

#include "nocktrail/error.hpp"
#include "staged.hpp"

namespace nocktrail::report {
namespace {

namespace fs = std::filesystem;

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
  const Descriptor folder(::open(folder_of(target).c_str(), O_PATH | O_DIRECTORY | O_CLOEXEC));
  if (folder.get() < 0) {
    cannot_write(path, system_words(errno));
  }
  const std::string name = target.filename().string();
  clear_stale_parts(folder.get(), name);
  // A file that exists keeps its permissions.
  struct stat old_file {};
  const bool exists = ::stat(target.c_str(), &old_file) == 0;
  Staged(folder.get(), name, path, bytes, exists ? old_file.st_mode & 07777U : 0).commit();
}

PartFolder::PartFolder(const fs::path& target, std::error_code& error)
    : path_(folder_of(target) / part_name(target.filename().string())) {
  const Descriptor above(::open(folder_of(target).c_str(), O_PATH | O_DIRECTORY | O_CLOEXEC));
  clear_stale_parts(above.get(), target.filename().string());
  fs::create_directory(path_, error);
  if (!error) {
    lock_ = ::open(path_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    static_cast<void>(::flock(lock_, LOCK_EX | LOCK_NB));  // for clear_stale_parts
  }
}

PartFolder::~PartFolder() {
  std::error_code ignored;
  fs::remove_all(path_, ignored);
  if (lock_ >= 0) {
    ::close(lock_);
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
