#include "nocktrail/session/safe_name.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <filesystem>
#include <utility>

#include "nocktrail/session/session.hpp"

namespace nocktrail::session {
namespace {

// Separators and quotes of shells, file systems, HTML and TOML; "#" numbers the shots of a clip.
constexpr std::string_view kReplaced = R"(<>:"|?*&'`$;#%{}[]=)";

// Unicode 15, general category Cf, line and paragraph separators, and what is no character: the
// ranges that fonts show as nothing.
constexpr std::array<std::pair<std::uint32_t, std::uint32_t>, 12> kUnseen = {{{0x80, 0x9F},
                                                                              {0xAD, 0xAD},
                                                                              {0x600, 0x605},
                                                                              {0x61C, 0x61C},
                                                                              {0x180E, 0x180E},
                                                                              {0x200B, 0x200F},
                                                                              {0x2028, 0x202E},
                                                                              {0x2060, 0x206F},
                                                                              {0xFE00, 0xFE0F},
                                                                              {0xFEFF, 0xFEFF},
                                                                              {0xFFF0, 0xFFFF},
                                                                              {0xE0000, 0xE0FFF}}};

bool unseen(std::uint32_t code) {
  return std::any_of(kUnseen.begin(), kUnseen.end(), [code](const auto& range) {
    return range.first <= code && code <= range.second;
  });
}

struct Character {
  std::uint32_t code = 0;
  std::size_t length = 0;  // 0: not UTF-8
};

// RFC 3629, section 4.
Character character_at(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const std::uint32_t first = byte(at);
  if (first < 0x80) {
    return {first, 1};
  }
  const std::size_t length = first >= 0xF0 && first < 0xF5   ? 4
                             : first >= 0xE0 && first < 0xF0 ? 3
                             : first >= 0xC2 && first < 0xE0 ? 2
                                                             : 0;
  if (length == 0 || at + length > text.size()) {
    return {};
  }
  std::uint32_t code = first & (0xFFU >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(at + i) & 0xC0U) != 0x80U) {
      return {};
    }
    code = (code << 6U) | (byte(at + i) & 0x3FU);
  }
  constexpr std::array<std::uint32_t, 5> kLeast = {0, 0, 0x80, 0x800, 0x10000};
  const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
  return code < kLeast[length] || surrogate || code > 0x10FFFF ? Character{}
                                                               : Character{code, length};
}

void cut(std::string& name, std::size_t most) {
  if (name.size() > most) {
    while (most > 0 && (static_cast<unsigned char>(name[most]) & 0xC0U) == 0x80U) {
      --most;
    }
    name.resize(most);
  }
  while (!name.empty() && (name.back() == ' ' || name.back() == '.')) {
    name.pop_back();
  }
}

}  // namespace

std::string safe_name(std::string_view name, std::size_t most) {
  const std::size_t folder = name.find_last_of("/\\");
  name.remove_prefix(folder == std::string_view::npos ? 0 : folder + 1);
  std::string safe;
  for (std::size_t at = 0; at < name.size();) {
    const Character character = character_at(name, at);
    if (character.length == 0) {
      ++at;
      continue;
    }
    const std::string_view bytes = name.substr(at, character.length);
    at += character.length;
    if (character.code < 0x20 || character.code == 0x7F || unseen(character.code)) {
      continue;
    }
    // A name that begins with a dash looks like an option, one with a dot is hidden.
    if (safe.empty() && (bytes == "." || bytes == " " || bytes == "-" || bytes == "~")) {
      continue;
    }
    safe += kReplaced.find(bytes.front()) != std::string_view::npos ? "_" : bytes;
  }
  cut(safe, most);
  return safe;
}

std::string safe_clip_name(std::string_view name) {
  const std::filesystem::path whole = safe_name(name, name.size());
  if (!is_video_name(whole)) {
    return {};
  }
  std::string stem = safe_name(whole.stem().string());
  return stem.empty() ? std::string() : stem + whole.extension().string();
}

}  // namespace nocktrail::session
