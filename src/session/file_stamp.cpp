#include "file_stamp.hpp"

#include <fmt/format.h>

namespace nocktrail::session {

std::optional<struct stat> file_status(const std::filesystem::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) {
    return std::nullopt;
  }
  return status;
}

std::string stamp_of(const struct stat& s) {
  return fmt::format("{} {}.{}", identity_of(s), s.st_ctim.tv_sec, s.st_ctim.tv_nsec);
}

std::string identity_of(const struct stat& s) {
  return fmt::format("{} {}.{} {}:{}", s.st_size, s.st_mtim.tv_sec, s.st_mtim.tv_nsec, s.st_dev,
                     s.st_ino);
}

}  // namespace nocktrail::session
