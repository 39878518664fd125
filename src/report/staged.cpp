#include "staged.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <csignal>
#include <cstdint>
#include <memory>
#include <optional>
#include <system_error>
#include <vector>

#include "nocktrail/error.hpp"

namespace nocktrail::report {
namespace {

constexpr std::string_view kPart = ".part";

// The process that a temporary name names; empty when it is not of that form.
std::optional<pid_t> process_of(std::string_view temporary, const std::string& name) {
  if (!temporary.starts_with('.') || !temporary.ends_with(kPart)) {
    return std::nullopt;
  }
  temporary.remove_suffix(kPart.size());
  const std::size_t dot = temporary.rfind('.');
  if (dot == 0 || (!name.empty() && temporary.substr(1, dot - 1) != name)) {
    return std::nullopt;
  }
  const std::string_view tail = temporary.substr(dot + 1);
  const std::string_view digits = tail.substr(0, tail.find('-'));
  pid_t process = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), process);
  return error == std::errc() && end == digits.data() + digits.size() && process > 0
             ? std::optional<pid_t>(process)
             : std::nullopt;
}

// Another machine's process may write to the same disk under a number that is free here: its lock
// tells.
bool is_held(int folder, const std::string& temporary) {
  const Descriptor part(
      ::openat(folder, temporary.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK));
  return part.get() >= 0 && ::flock(part.get(), LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
}

// Whether a process can still write. One that was killed keeps its number until its parent has
// asked how it ended, which some never do: the state after its name in /proc (proc(5)) tells.
bool runs(pid_t process) {
  if (::kill(process, 0) != 0) {
    return errno != ESRCH;
  }
  const Descriptor stat(
      ::open(fmt::format("/proc/{}/stat", process).c_str(), O_RDONLY | O_CLOEXEC));
  std::array<char, 256> text{};
  const ssize_t got = stat.get() < 0 ? 0 : ::read(stat.get(), text.data(), text.size());
  const std::string_view words(text.data(), static_cast<std::size_t>(std::max<ssize_t>(got, 0)));
  const std::size_t name_end = words.rfind(')');
  if (name_end == std::string_view::npos || name_end + 2 >= words.size()) {
    return true;
  }
  const char state = words[name_end + 2];
  return state != 'Z' && state != 'X';
}

// A folder of temporary files is one level deep.
void remove_part(int folder, const std::string& temporary) {
  if (::unlinkat(folder, temporary.c_str(), 0) == 0) {
    return;
  }
  const int inside =
      ::openat(folder, temporary.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
  if (inside < 0) {
    return;
  }
  const DirectoryList list(::fdopendir(inside));
  while (const dirent* entry = list ? ::readdir(list.get()) : nullptr) {
    static_cast<void>(::unlinkat(inside, entry->d_name, 0));
  }
  static_cast<void>(::unlinkat(folder, temporary.c_str(), AT_REMOVEDIR));
}

}  // namespace

bool Descriptor::close() {
  const int fd = std::exchange(fd_, -1);
  return fd < 0 || ::close(fd) == 0;
}

std::string system_words(int code) {
  return std::generic_category().message(code);
}

void cannot_write(const std::filesystem::path& path, const std::string& why) {
  const bool full =
      why == system_words(ENOSPC) || why == system_words(EDQUOT) || why == system_words(EFBIG);
  throw BadInput(fmt::format("{}: cannot be written ({}); {}", path.string(), why,
                             full ? "make room on that disk, or write elsewhere, and run again"
                                  : "give a file in a folder that exists and that you may write "
                                    "to"));
}

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

std::string part_name(const std::string& name) {
  // Several threads may be at the same name, and another machine's process that has our number.
  std::uint64_t own = 0;
  if (::getrandom(&own, sizeof own, 0) != static_cast<ssize_t>(sizeof own)) {
    own = static_cast<std::uint64_t>(std::chrono::steady_clock::now().time_since_epoch().count());
  }
  return fmt::format(".{}.{}-{:016x}{}", name, ::getpid(), own, kPart);
}

void clear_stale_parts(int folder, const std::string& name) {
  const DirectoryList list(::fdopendir(::openat(folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC)));
  std::vector<std::string> stale;
  while (const dirent* entry = list ? ::readdir(list.get()) : nullptr) {
    const std::optional<pid_t> process = process_of(entry->d_name, name);
    if (process && !runs(*process) && !is_held(folder, entry->d_name)) {
      stale.emplace_back(entry->d_name);
    }
  }
  for (const std::string& temporary : stale) {
    remove_part(folder, temporary);
  }
}

Staged::Staged(int folder, std::string name, std::filesystem::path shown, std::string_view bytes,
               mode_t mode)
    : folder_(folder),
      name_(std::move(name)),
      shown_(std::move(shown)),
      temporary_(part_name(name_)) {
  lock_ = Descriptor(::openat(folder_, temporary_.c_str(),
                              O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666));
  if (lock_.get() < 0) {
    temporary_.clear();
    cannot_write(shown_, system_words(errno));
  }
  static_cast<void>(::flock(lock_.get(), LOCK_EX | LOCK_NB));  // for clear_stale_parts
  if (mode != 0) {
    static_cast<void>(::fchmod(lock_.get(), mode));  // best effort
  }
  int failure = write_all(lock_.get(), bytes);
  if (failure == 0 && ::fsync(lock_.get()) != 0) {
    failure = errno;
  }
  if (failure != 0) {
    ::unlinkat(folder_, temporary_.c_str(), 0);
    cannot_write(shown_, system_words(failure));
  }
}

Staged::Staged(Staged&& other) noexcept
    : folder_(other.folder_),
      name_(std::move(other.name_)),
      shown_(std::move(other.shown_)),
      temporary_(std::exchange(other.temporary_, {})),
      lock_(std::move(other.lock_)) {}

Staged::~Staged() {
  if (!temporary_.empty()) {
    ::unlinkat(folder_, temporary_.c_str(), 0);
  }
}

void Staged::commit() {
  if (::renameat(folder_, temporary_.c_str(), folder_, name_.c_str()) != 0) {
    cannot_write(shown_, system_words(errno));
  }
  temporary_.clear();
}

}  // namespace nocktrail::report
