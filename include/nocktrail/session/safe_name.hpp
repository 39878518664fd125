// Names from outside made into names of files: never a path, never hidden, never one that shows as
// something else than it is.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace nocktrail::session {

// `name` without folders, control characters, marks that turn or hide text (Unicode's format
// characters), bytes that are not UTF-8, and what files or our own facts files give a meaning;
// without leading dots, cut to `most` bytes between characters. Empty when nothing is left.
std::string safe_name(std::string_view name, std::size_t most = 120);

// The same with its ending kept; empty unless that is a video's.
std::string safe_clip_name(std::string_view name);

}  // namespace nocktrail::session
