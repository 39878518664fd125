// Files that are made to be filled in by hand.
#pragma once

#include <filesystem>
#include <string_view>

namespace nocktrail::cli {

// Makes the file and its folder. Throws BadInput where one is there already, so that nothing that
// was filled in is written over, and where it cannot be written.
void write_new_file(const std::filesystem::path& path, std::string_view text);

}  // namespace nocktrail::cli
