// Names of the files that one command writes for several clips.
#pragma once

#include <cstddef>
#include <filesystem>
#include <set>

namespace nocktrail::cli {

// The still of one shot. One clip: FILE.png as given. Several clips: FILE-CLIP.png, CLIP being the
// clip's name without folder and ending. Later shots of a clip: "-shot2", "-shot3" before the
// ending. A name already in `taken` (two clips of one name) gets "-2", "-3"; the result joins it.
std::filesystem::path still_name(const std::filesystem::path& still,
                                 const std::filesystem::path& clip, bool several_clips,
                                 std::size_t shot_number, std::set<std::filesystem::path>& taken);

// The folder for the debug pictures of one clip: DIR itself, or DIR/CLIP with several clips.
std::filesystem::path debug_folder(const std::filesystem::path& folder,
                                   const std::filesystem::path& clip, bool several_clips,
                                   std::set<std::filesystem::path>& taken);

// Whether a debug picture may be of this name: "001.234s-sweeps.png".
bool is_debug_name(const std::filesystem::path& file);

}  // namespace nocktrail::cli
