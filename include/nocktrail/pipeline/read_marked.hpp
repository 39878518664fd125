// A clip read by where a person saw the arrow, in place of the program's own search.
#pragma once

#include <filesystem>
#include <string>

#include "nocktrail/marks.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail {

// Reads the one shot that was marked; its `by` is hand. Too few marks, or such as make no flight,
// come back refused with the reason; from kFramesForFlight on the shot carries the fitted frames
// all the same. Throws BadInput, which begins with "marks: ", for marks that are not of this clip
// (another hash, frames or places that it does not have) and, like read_clip, for options outside
// their range; and Interrupted.
Reading read_marked(const std::filesystem::path& path, const Marks& marks,
                    const ReadClipOptions& options, const Progress& progress = {});

// Throws BadInput, which begins with "marks: ", for marks that are not of the clip of this account
// and this hash: what read_marked would throw for.
void check_marks(const Marks& marks, const media::ClipInfo& info, const std::string& sha256);

// How many frames are still to be marked before they give a reading, in words; empty: none.
std::string missing_marks(const Marks& marks);

}  // namespace nocktrail
