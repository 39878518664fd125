// Whether a file holds all that it says it holds: by the sizes that its outermost parts state, no
// track is looked at.
#pragma once

#include <filesystem>

namespace nocktrail::media {

struct Extent {
  bool mp4_family = false;  // begins with a box of ISO/IEC 14496-12 or QuickTime
  bool movie = false;       // of that family: the movie box is there, whole
  bool damaged = false;     // a box of an impossible size: what follows cannot be told
  bool ends_early = false;  // a part reaches past the end of the file
};

// MP4 and QuickTime boxes (ISO/IEC 14496-12, 4.2), Matroska's segment (RFC 9559, 5.1), RIFF chunks
// of AVI. All false for any other file, and for one that cannot be read.
Extent extent_of(const std::filesystem::path& path);

}  // namespace nocktrail::media
