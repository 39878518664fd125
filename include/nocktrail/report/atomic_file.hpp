// Files that are there whole or not at all.
#pragma once

#include <filesystem>
#include <string_view>
#include <system_error>

namespace nocktrail::report {

// Writes `bytes` beside `path` under a temporary name, flushes it to the disk and renames it into
// place, so that a stop at any moment leaves the old file or the new one, never part of one. A
// symbolic link keeps pointing where it did; a pipe or a device is written straight. Throws
// BadInput, one line naming `path`, when the file cannot be written; nothing is left behind then.
void write_file_whole(const std::filesystem::path& path, std::string_view bytes);

// A folder under a temporary name, beside the one that it is to become; the caller fills and
// renames it. One that is not renamed goes away with the object; one left by a process that was
// killed, when the next is made for the same name.
class PartFolder {
 public:
  // Made in the folder of `target`, which exists; `error` says when it cannot be.
  PartFolder(const std::filesystem::path& target, std::error_code& error);
  PartFolder(const PartFolder&) = delete;
  PartFolder& operator=(const PartFolder&) = delete;
  ~PartFolder();
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
  int lock_ = -1;
};

// Throws the same BadInput when `path` plainly cannot be written: its folder is missing or does
// not admit new files, or it is itself a folder. For asking before the long work.
void check_writable(const std::filesystem::path& path);

}  // namespace nocktrail::report
