// The errors that a user or the outside world can cause. Expected "no answer" results (no shot,
// a refused reading) are not errors: they travel as data with a reason.
#pragma once

#include <cstddef>
#include <stdexcept>
#include <string>
#include <utility>

namespace nocktrail {

// The text with control characters as '?': messages quote files and names of unknown origin, which
// could break the line or act on the terminal.
inline std::string one_line(std::string text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (byte < 0x20 || byte == 0x7F) {
      text[i] = '?';
    } else if (byte == 0xC2 && i + 1 < text.size() &&
               static_cast<unsigned char>(text[i + 1]) < 0xA0) {  // U+0080 to U+009F in UTF-8
      text.replace(i, 2, "?");
    }
  }
  return text;
}

// Something the user gave cannot be used. what() is one line for the terminal: what happened, to
// which file or field, and what to do next.
class BadInput : public std::runtime_error {
 public:
  explicit BadInput(std::string line) : std::runtime_error(one_line(std::move(line))) {}
};

// A file that cannot be read as video at all (exit status 4 of `nocktrail read`).
class UnreadableClip : public BadInput {
 public:
  using BadInput::BadInput;
};

}  // namespace nocktrail
