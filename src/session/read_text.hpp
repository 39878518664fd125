// Small files of text.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace nocktrail::session {

// Empty where there is no such file. Throws BadInput when it is there but cannot be read.
std::optional<std::string> read_text(const std::filesystem::path& path);

}  // namespace nocktrail::session
