// Files that are there whole or not at all.
#pragma once

#include <filesystem>
#include <string_view>

namespace nocktrail::report {

// Writes `bytes` beside `path` under a temporary name, flushes it to the disk and renames it into
// place, so that a stop at any moment leaves the old file or the new one, never part of one. A
// symbolic link keeps pointing where it did; a pipe or a device is written straight. Throws
// BadInput, one line naming `path`, when the file cannot be written; nothing is left behind then.
void write_file_whole(const std::filesystem::path& path, std::string_view bytes);

// Throws the same BadInput when `path` plainly cannot be written: its folder is missing or does
// not admit new files, or it is itself a folder. For asking before the long work.
void check_writable(const std::filesystem::path& path);

}  // namespace nocktrail::report
