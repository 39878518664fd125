#include "new_file.hpp"

#include <fmt/format.h>

#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::cli {

void write_new_file(const std::filesystem::path& path, std::string_view text) {
  std::error_code error;
  if (std::filesystem::exists(std::filesystem::symlink_status(path, error))) {
    throw BadInput(fmt::format("{}: is there already; change it with any editor",
                               rules::printable(path.string())));
  }
  std::filesystem::create_directories(path.parent_path(), error);
  report::write_file_whole(path, text);
}

}  // namespace nocktrail::cli
