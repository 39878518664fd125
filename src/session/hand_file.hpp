// A hand-written file that is changed in place from a page.
#pragma once

#include <filesystem>
#include <string>

namespace nocktrail::session {

// Empty where there is none. Throws BadInput as units::read_hand_written.
std::string hand_text(const std::filesystem::path& file);

// Writes `text` in the place of `before`, which stays beside it as NAME.before. Throws BadInput for
// a link, for a file that does not say `before` any more, and where it cannot be written.
void replace_hand_text(const std::filesystem::path& file, const std::string& before,
                       const std::string& text);

}  // namespace nocktrail::session
