#include "read_text.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>
#include <system_error>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::session {

std::optional<std::string> read_text(const std::filesystem::path& path) {
  std::error_code error;
  if (!std::filesystem::exists(path, error) && !error) {
    return std::nullopt;
  }
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  if (!file || (file.peek() != std::ifstream::traits_type::eof() && !(text << file.rdbuf()))) {
    throw BadInput(
        fmt::format("{}: cannot be read; check its rights", rules::printable(path.string())));
  }
  return text.str();
}

}  // namespace nocktrail::session
