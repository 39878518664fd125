// What the hand-written files of a session say of one clip, for the commands that take a clip.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::cli {

// By the file `asked` (a session.toml or setup.toml), else, where that is empty, by those of the
// folders in which the clip lies. Empty when there are none. Throws BadInput for a file with
// faults.
std::optional<tune::SetupFacts> told_facts(const std::string& asked,
                                           const std::filesystem::path& clip);

// Takes from the facts what `options` leaves open.
void fill_from(const tune::SetupFacts& facts, ReadClipOptions& options);

}  // namespace nocktrail::cli
