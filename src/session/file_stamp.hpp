// Whether a file may have changed, without opening it.
#pragma once

#include <sys/stat.h>

#include <filesystem>
#include <optional>
#include <string>

namespace nocktrail::session {

// Empty when there is no such file.
std::optional<struct stat> file_status(const std::filesystem::path& path);

// Changes whenever the content may have: size, times, place on the disk. The change time cannot be
// set back by hand.
std::string stamp_of(const struct stat& status);

// Without the change time, which a rename moves: the same before and after one.
std::string identity_of(const struct stat& status);

}  // namespace nocktrail::session
