#include "hand_file.hpp"

#include <fmt/format.h>

#include <system_error>

#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/hand_written.hpp"

namespace nocktrail::session {

namespace fs = std::filesystem;

std::string hand_text(const fs::path& file) {
  return units::read_hand_written(file, rules::printable(file.string())).value_or("");
}

void replace_hand_text(const fs::path& file, const std::string& before, const std::string& text) {
  std::error_code error;
  if (fs::is_symlink(file, error)) {
    throw BadInput(
        fmt::format("{}: is a link, which is not written through; change the file by hand",
                    rules::printable(file.string())));
  }
  if (fs::exists(file, error)) {
    fs::path kept = file;
    kept += ".before";
    if (fs::is_symlink(kept, error)) {
      fs::remove(kept, error);
    }
    report::write_file_whole(kept, before);
  }
  if (hand_text(file) != before) {  // an editor on the bench
    throw BadInput(fmt::format("{}: was changed just now by somebody else; try again",
                               rules::printable(file.string())));
  }
  report::write_file_whole(file, text);
}

}  // namespace nocktrail::session
