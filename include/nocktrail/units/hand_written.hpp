// Files that somebody wrote by hand, taken in with care: anything may lie under such a name.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace nocktrail::units {

// A hundred times what an archer writes of a long session.
inline constexpr std::size_t kMostHandWritten = std::size_t{1} << 20U;

// The whole file; empty where there is none of that name. Throws BadInput, one line that begins
// with `source`, when it is no regular file, larger than kMostHandWritten, or cannot be read. Never
// waits: a pipe is not opened.
std::optional<std::string> read_hand_written(const std::filesystem::path& path,
                                             std::string_view source);

// For quoting in one line what may be of any length: at most about `most` bytes, cut between
// characters, with an ellipsis.
std::string quoted_briefly(std::string_view words, std::size_t most = 60);

}  // namespace nocktrail::units
