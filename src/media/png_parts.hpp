// The parts of a PNG file (ISO/IEC 15948, 5.3): length, type, data, checksum.
#pragma once

#include <cstddef>
#include <string>

namespace nocktrail::media {

// Where the first part, the header, ends: after the signature of 8 bytes, 12 + 13 more.
inline constexpr std::size_t kPngHeaderEnd = 33;

// The part that marks a picture as one of ours, to stand right behind the header.
std::string png_mark();

}  // namespace nocktrail::media
