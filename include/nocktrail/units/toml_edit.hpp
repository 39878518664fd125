// One value of a hand-written TOML file changed in place: comments, order, spaces and whatever the
// program does not know stay as they are.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::units {

// `toml` with the text `value` under the key at the end of `path` (such as {"clip",
// "IMG_01.mp4", "drop"}), or without that key where `value` is empty. A table that is not
// there is added at the end, a key of no table at the top. The new text is read back and compared
// with the old one's meaning: it says what was asked and nothing else. Throws BadInput, one line
// that begins with `source`, where the file cannot be read, or is written in a way in which that
// cannot be done.
std::string with_text(std::string_view toml, std::string_view source,
                      const std::vector<std::string>& path,
                      const std::optional<std::string>& value);

// The same with a plain number.
std::string with_number(std::string_view toml, std::string_view source,
                        const std::vector<std::string>& path, double value);

}  // namespace nocktrail::units
