#include "png_parts.hpp"

#include <boost/crc.hpp>
#include <cstdint>

#include "nocktrail/media/image_file.hpp"
#include "nocktrail/version.hpp"

namespace nocktrail::media {
namespace {

constexpr std::string_view kSignature = "\x89PNG\r\n\x1A\n";
constexpr std::string_view kSoftware{"Software\0nocktrail ", 19};
constexpr std::size_t kDataPart = 8192;  // libpng's, of all data parts but the last

std::string big_endian(std::uint32_t value) {
  return {static_cast<char>(value >> 24U), static_cast<char>(value >> 16U),
          static_cast<char>(value >> 8U), static_cast<char>(value)};
}

std::uint32_t number_at(std::string_view bytes, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    value = (value << 8U) | static_cast<unsigned char>(bytes[at + i]);
  }
  return value;
}

}  // namespace

std::string png_mark() {
  const std::string part = "tEXt" + std::string(kSoftware) + kVersion;
  boost::crc_32_type crc;  // of type and data
  crc.process_bytes(part.data(), part.size());
  return big_endian(static_cast<std::uint32_t>(part.size() - 4)) + part +
         big_endian(crc.checksum());
}

PngParts png_parts(std::string_view bytes) {
  PngParts parts;
  if (!bytes.starts_with(kSignature) || bytes.size() < kPngHeaderEnd ||
      bytes.substr(12, 4) != "IHDR") {
    return parts;
  }
  parts.width_px = static_cast<int>(number_at(bytes, 16) & 0x7fffffffU);
  // Depth 8, grey or colour, no interlacing.
  bool plain = bytes[24] == 8 && (bytes[25] == 0 || bytes[25] == 2) && bytes[28] == 0;
  bool last_data = false;
  bool ended = false;
  std::size_t at = kPngHeaderEnd;
  while (bytes.size() - at >= 12 && !ended) {
    const std::size_t length = number_at(bytes, at);
    const std::string_view type = bytes.substr(at + 4, 4);
    if (length > bytes.size() - at - 12) {
      break;
    }
    const std::string_view data = bytes.substr(at + 8, length);
    ended = type == "IEND";
    parts.marked = parts.marked || (type == "tEXt" && data.starts_with(kSoftware));
    if (type == "IDAT") {
      plain = plain && !last_data && length <= kDataPart;
      last_data = length < kDataPart;
    } else {
      plain = plain && (ended || type == "sRGB" || type == "gAMA" || type == "cHRM");
    }
    at += 12 + length;
  }
  parts.plain = plain && ended && at == bytes.size();
  parts.marked = parts.marked && ended;
  return parts;
}

}  // namespace nocktrail::media
