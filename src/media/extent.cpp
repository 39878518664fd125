#include "nocktrail/media/extent.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <fstream>
#include <optional>
#include <string_view>

namespace nocktrail::media {
namespace {

// Boxes that such files begin with, and those that may follow outermost. What a phone's maker hangs
// on behind them in no box at all says nothing about the clip.
constexpr std::array<std::string_view, 8> kFirstBoxes = {"ftyp", "moov", "mdat", "wide",
                                                         "free", "skip", "pnot", "uuid"};
constexpr std::array<std::string_view, 5> kLaterBoxes = {"moof", "mfra", "sidx", "styp", "meta"};

template <std::size_t N>
bool among(const std::array<std::string_view, N>& names, std::string_view name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

class Bytes {
 public:
  explicit Bytes(const std::filesystem::path& path)
      : file_(path, std::ios::binary | std::ios::ate),
        size_(file_ ? static_cast<std::uint64_t>(file_.tellg()) : 0) {}
  std::uint64_t size() const { return size_; }
  // Up to sixteen bytes from there on; fewer at the end.
  std::string_view at(std::uint64_t place) {
    file_.clear();
    file_.seekg(static_cast<std::streamoff>(place));
    file_.read(head_.data(), static_cast<std::streamsize>(head_.size()));
    return {head_.data(), static_cast<std::size_t>(file_.gcount())};
  }

 private:
  std::ifstream file_;
  std::uint64_t size_;
  std::array<char, 16> head_{};
};

std::uint64_t big_endian(std::string_view bytes) {
  std::uint64_t value = 0;
  for (const char byte : bytes) {
    value = (value << 8U) | static_cast<unsigned char>(byte);
  }
  return value;
}

std::uint64_t little_endian(std::string_view bytes) {
  std::uint64_t value = 0;
  for (std::size_t i = bytes.size(); i-- > 0;) {
    value = (value << 8U) | static_cast<unsigned char>(bytes[i]);
  }
  return value;
}

Extent boxes(Bytes& bytes) {
  Extent extent;
  extent.mp4_family = true;
  for (std::uint64_t at = 0; at < bytes.size();) {
    const std::string_view head = bytes.at(at);
    const std::uint64_t left = bytes.size() - at;
    if (head.size() < 8) {
      // Less than a box's head: a part of one is missing, but for padding.
      extent.ends_early = head.find_first_not_of('\0') != std::string_view::npos;
      return extent;
    }
    const std::string_view type = head.substr(4, 4);
    std::uint64_t length = big_endian(head.substr(0, 4));
    if (length == 1) {
      length = head.size() < 16 ? left + 1 : big_endian(head.substr(8, 8));
    } else if (length == 0) {
      length = left;  // to the end of the file
    }
    if (length < 8) {
      extent.damaged = true;
      return extent;
    }
    if (length > left) {
      extent.ends_early = among(kFirstBoxes, type) || among(kLaterBoxes, type);
      return extent;
    }
    extent.movie = extent.movie || type == "moov";
    at += length;
  }
  return extent;
}

struct Element {
  std::uint64_t body = 0;  // where it begins
  std::optional<std::uint64_t> size;
};

// An element's size as a number of variable length (RFC 8794, 4); all ones: not known.
std::optional<Element> element(Bytes& bytes, std::uint64_t at, std::string_view id) {
  const std::string_view head = bytes.at(at);
  if (!head.starts_with(id) || head.size() < id.size() + 1) {
    return std::nullopt;
  }
  const auto first = static_cast<unsigned char>(head[id.size()]);
  std::size_t width = 1;
  while (width < 9 && (first & (0x80U >> (width - 1))) == 0) {
    ++width;
  }
  if (width > 8 || head.size() < id.size() + width) {
    return std::nullopt;
  }
  const std::uint64_t mask = (std::uint64_t{1} << (7 * width)) - 1;
  const std::uint64_t size = big_endian(head.substr(id.size(), width)) & mask;
  return Element{at + id.size() + width,
                 size == mask ? std::nullopt : std::optional<std::uint64_t>(size)};
}

Extent matroska(Bytes& bytes) {
  Extent extent;
  const std::optional<Element> header = element(bytes, 0, "\x1A\x45\xDF\xA3");
  if (header && header->size && *header->size < bytes.size()) {
    const std::optional<Element> segment =
        element(bytes, header->body + *header->size, "\x18\x53\x80\x67");
    extent.ends_early = segment && segment->size && *segment->size > bytes.size() - segment->body;
  }
  return extent;
}

Extent riff(Bytes& bytes) {
  Extent extent;
  for (std::uint64_t at = 0; at < bytes.size();) {
    const std::string_view head = bytes.at(at);
    if (head.size() < 12 || !head.starts_with("RIFF")) {
      return extent;
    }
    const std::uint64_t length = little_endian(head.substr(4, 4));
    if (length == 0) {
      return extent;  // of a recording that was never finished: nothing is promised
    }
    extent.ends_early = length > bytes.size() - at - 8;
    if (extent.ends_early) {
      return extent;
    }
    at += 8 + length + length % 2;
  }
  return extent;
}

}  // namespace

Extent extent_of(const std::filesystem::path& path) {
  Bytes bytes(path);
  const std::string_view head = bytes.size() == 0 ? std::string_view() : bytes.at(0);
  if (head.size() >= 8 && among(kFirstBoxes, head.substr(4, 4))) {
    return boxes(bytes);
  }
  if (head.starts_with("\x1A\x45\xDF\xA3")) {
    return matroska(bytes);
  }
  if (head.size() >= 12 && head.starts_with("RIFF") && head.substr(8, 4) == "AVI ") {
    return riff(bytes);
  }
  return {};
}

}  // namespace nocktrail::media
