#include <poll.h>
#include <sys/inotify.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include "nocktrail/session/session.hpp"
#include "nocktrail/session/watch.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

constexpr std::uint32_t kEvents = IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_DELETE |
                                  IN_CREATE | IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR;
constexpr std::uint32_t kFinished = IN_CLOSE_WRITE | IN_MOVED_TO;

}  // namespace

FolderWatch::FolderWatch(bool poll) {
  if (!poll) {
    fd_ = ::inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
  }
}

FolderWatch::~FolderWatch() {
  if (fd_ >= 0) {
    ::close(fd_);
  }
}

void FolderWatch::watch(const fs::path& folder) {
  // Watching the same place again gives the same number; a folder made anew under an old name
  // gives a new one. Past the system's limit, or on a file system that cannot, the look that the
  // caller makes every few seconds has to do.
  const int number = ::inotify_add_watch(fd_, folder.c_str(), kEvents);
  if (number >= 0) {
    folders_[number] = folder;
  }
}

void FolderWatch::cover(const fs::path& named) {
  if (fd_ < 0) {
    return;
  }
  std::error_code error;
  const fs::path folder = fs::weakly_canonical(named, error);  // as load() names its files
  watch(folder);
  fs::directory_iterator entry(folder, error);
  for (; !error && entry != fs::directory_iterator(); entry.increment(error)) {
    std::error_code gone;
    const std::string name = entry->path().filename().string();
    if (!name.starts_with('.') && name != kResultsFolder && entry->is_directory(gone) &&
        !entry->is_symlink(gone)) {
      watch(entry->path());
    }
  }
}

void FolderWatch::wait(std::chrono::milliseconds most) {
  if (fd_ < 0) {
    ::poll(nullptr, 0, static_cast<int>(most.count()));  // unlike a sleep, ends at a signal
    return;
  }
  pollfd ready{fd_, POLLIN, 0};
  if (::poll(&ready, 1, static_cast<int>(most.count())) > 0) {
    drain();
  }
}

void FolderWatch::drain() {
  alignas(inotify_event) std::array<char, 16384> buffer{};
  for (;;) {
    const ssize_t length = ::read(fd_, buffer.data(), buffer.size());
    if (length <= 0) {
      return;  // nothing left
    }
    for (std::size_t at = 0; at + sizeof(inotify_event) <= static_cast<std::size_t>(length);) {
      inotify_event event{};
      std::memcpy(&event, buffer.data() + at, sizeof(event));
      const auto folder = folders_.find(event.wd);
      if (folder != folders_.end() && event.len > 0 && (event.mask & kFinished) != 0) {
        closed_.insert(folder->second / (buffer.data() + at + sizeof(event)));
      }
      if (folder != folders_.end() && (event.mask & IN_IGNORED) != 0) {
        folders_.erase(folder);
      }
      at += sizeof(event) + event.len;
    }
  }
}

std::set<fs::path> FolderWatch::take_closed() {
  if (fd_ >= 0) {
    drain();
  }
  return std::exchange(closed_, {});
}

}  // namespace nocktrail::session
