// How deep a TOML text is nested, before the library sees it, which descends as deep as it is told.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace nocktrail::units {

// The deepest field of our files is two tables down.
inline constexpr int kDeepestToml = 16;

// The first line on which brackets are nested deeper than that, or a key has more parts; empty
// where there is none.
std::optional<std::size_t> too_deep_line(std::string_view text);

}  // namespace nocktrail::units
