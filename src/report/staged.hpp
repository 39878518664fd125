// Bytes on the disk under a temporary name, beside the name that they are to get.
#pragma once

#include <dirent.h>
#include <sys/types.h>

#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

namespace nocktrail::report {

class Descriptor {
 public:
  explicit Descriptor(int fd = -1) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~Descriptor() { static_cast<void>(close()); }
  int get() const { return fd_; }
  // Closes now; false when the system reports a late write error.
  bool close();

 private:
  int fd_;
};

struct CloseDirectory {
  void operator()(DIR* list) const { ::closedir(list); }
};
using DirectoryList = std::unique_ptr<DIR, CloseDirectory>;

std::string system_words(int code);
[[noreturn]] void cannot_write(const std::filesystem::path& path, const std::string& why);
// 0, or the errno of the write that failed.
int write_all(int fd, std::string_view bytes);

// Written and flushed by the constructor; put in place by commit(), removed by the destructor
// without one.
class Staged {
 public:
  // `folder` must stay open. `shown` names the file in messages. An empty mode: as the system's
  // mask has it. Throws BadInput when it cannot be written; nothing is left behind then.
  Staged(int folder, std::string name, std::filesystem::path shown, std::string_view bytes,
         mode_t mode = 0);
  Staged(Staged&& other) noexcept;
  Staged(const Staged&) = delete;
  Staged& operator=(const Staged&) = delete;
  ~Staged();

  // Replaces what has the name, a link itself and never what it points to. Throws BadInput.
  void commit();

 private:
  int folder_;
  std::string name_;
  std::filesystem::path shown_;
  std::string temporary_;  // empty: nothing to remove
  Descriptor lock_;        // held until it is in place: another machine may be clearing up
};

// ".NAME.PID-RANDOM.part": a temporary name of this process, another one at each call.
std::string part_name(const std::string& name);
// Removes temporary files, and folders of that form, whose process is gone: of `name`, or of any
// name when it is empty. What cannot be removed stays.
void clear_stale_parts(int folder, const std::string& name = {});

}  // namespace nocktrail::report
