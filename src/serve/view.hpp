// A snapshot in the shape in which the pages show it. All text is printable; the pages put it in as
// text, never as HTML.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "board.hpp"
#include "nocktrail/serve/serve.hpp"
#include "standing.hpp"

namespace nocktrail::serve {

// What session.json holds, and "waiting"; in its place what stands now, where that differs.
nlohmann::json session_view(const Snapshot& snapshot, const Standing& now);

// The page Line: next step, newest shot, the shots of each set-up.
nlohmann::json line_view(const Snapshot& snapshot, const Standing& now);

// The page Shot: one clip. null where there is no such clip.
nlohmann::json shot_view(const Snapshot& snapshot, const Standing& now, const std::string& setup,
                         const std::string& clip);

// What lets a phone in: "addresses", each with its code; none where it is served to this computer
// alone.
nlohmann::json phone_view(const Ready& where);

// A clip as the pages know it: its reading, and whether it counts.
nlohmann::json clip_view(const Snapshot& snapshot, const std::string& setup,
                         const tune::ClipRecord& clip);

// The clip as it was read last, fresh or published; null where there is none.
const tune::ClipRecord* find_clip(const Snapshot& snapshot, const std::string& setup,
                                  const std::string& clip);

}  // namespace nocktrail::serve
