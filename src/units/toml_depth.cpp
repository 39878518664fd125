#include "toml_depth.hpp"

#include <algorithm>

namespace nocktrail::units {
namespace {

// Where the string that begins at `at` ends, past its quotes (TOML 1.0, "String"). A string that is
// not closed ends with its line, or, of several lines, with the text.
std::size_t past_string(std::string_view text, std::size_t at) {
  const char quote = text[at];
  const std::string_view three = quote == '"' ? R"(""")" : "'''";
  const bool lines = text.substr(at).starts_with(three);
  const std::string_view close = lines ? three : three.substr(0, 1);
  at += close.size();
  while (at < text.size() && !text.substr(at).starts_with(close)) {
    if (text[at] == '\n' && !lines) {
      return at;
    }
    at += quote == '"' && text[at] == '\\' ? 2 : 1;
  }
  return std::min(at + close.size(), text.size());
}

}  // namespace

std::optional<std::size_t> too_deep_line(std::string_view text) {
  std::size_t line = 1;
  int brackets = 0;
  int parts = 0;  // of the key, or whatever has dots, at hand
  for (std::size_t at = 0; at < text.size();) {
    const char c = text[at];
    if (c == '"' || c == '\'') {
      const std::size_t end = past_string(text, at);
      line += static_cast<std::size_t>(std::count(text.begin() + static_cast<std::ptrdiff_t>(at),
                                                  text.begin() + static_cast<std::ptrdiff_t>(end),
                                                  '\n'));
      at = end;
      continue;
    }
    if (c == '#') {
      at = std::min(text.find('\n', at), text.size());
      continue;
    }
    if (c == '.') {
      ++parts;
    } else if (c == '[' || c == '{') {
      ++brackets;
      parts = 0;
    } else if (c == ']' || c == '}') {
      brackets = std::max(brackets - 1, 0);
      parts = 0;
    } else if (c == '=' || c == ',' || c == '\n') {
      parts = 0;
    }
    if (brackets > kDeepestToml || parts > kDeepestToml) {
      return line;
    }
    line += c == '\n' ? 1U : 0U;
    ++at;
  }
  return std::nullopt;
}

}  // namespace nocktrail::units
