#include "nocktrail/rules/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "nocktrail/rules/step_words.hpp"

namespace nocktrail::rules {
namespace {

constexpr double kOneDecimalFromU95 = 0.5;

int decimals_for(double u95) {
  return u95 < kOneDecimalFromU95 ? 2 : 1;
}

std::string side_words(const Measured& offset_deg, const char* negative, const char* positive) {
  const int decimals = decimals_for(offset_deg.u95);
  const double size = std::abs(offset_deg.value);
  const bool in_line = size < 0.5 * std::pow(10.0, -decimals);
  const char* side = in_line ? "in line" : (offset_deg.value < 0.0 ? negative : positive);
  return fmt::format("nock {} {} deg", side, with_interval(size, offset_deg.u95));
}

// Length of the well-formed UTF-8 sequence at the start of `text`, 0 when there is none
// (RFC 3629: no overlong forms, no surrogates, nothing above U+10FFFF).
std::size_t utf8_sequence_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned lead = byte(0);
  std::size_t length = 0;
  unsigned second_min = 0x80;
  unsigned second_max = 0xBF;
  if (lead < 0x80) {
    return 1;
  }
  if (lead >= 0xC2 && lead <= 0xDF) {
    length = 2;
  } else if (lead >= 0xE0 && lead <= 0xEF) {
    length = 3;
    second_min = lead == 0xE0 ? 0xA0 : 0x80;
    second_max = lead == 0xED ? 0x9F : 0xBF;
  } else if (lead >= 0xF0 && lead <= 0xF4) {
    length = 4;
    second_min = lead == 0xF0 ? 0x90 : 0x80;
    second_max = lead == 0xF4 ? 0x8F : 0xBF;
  }
  if (length == 0 || text.size() < length || byte(1) < second_min || byte(1) > second_max) {
    return 0;
  }
  for (std::size_t i = 2; i < length; ++i) {
    if (byte(i) < 0x80 || byte(i) > 0xBF) {
      return 0;
    }
  }
  return length;
}

}  // namespace

std::string with_interval(double magnitude, double u95) {
  const int decimals = decimals_for(u95);
  return fmt::format("{:.{}f} ± {:.{}f}", magnitude, decimals, u95, decimals);
}

std::string lateral_words(const Measured& nock_right_deg) {
  return side_words(nock_right_deg, "left", "right");
}

std::string vertical_words(const Measured& nock_high_deg) {
  return side_words(nock_high_deg, "low", "high");
}

const char* word(SpineVerdict verdict) {
  switch (verdict) {
    case SpineVerdict::weak:
      return "weak";
    case SpineVerdict::stiff:
      return "stiff";
    case SpineVerdict::matched:
      return "matched";
    case SpineVerdict::unclear:
      break;
  }
  return "unclear";
}

const char* word(NockingPointVerdict verdict) {
  switch (verdict) {
    case NockingPointVerdict::high:
      return "high";
    case NockingPointVerdict::low:
      return "low";
    case NockingPointVerdict::level:
      return "level";
    case NockingPointVerdict::unclear:
      break;
  }
  return "unclear";
}

std::string printable(std::string_view text) {
  std::string safe;
  while (!text.empty()) {
    const std::size_t length = utf8_sequence_length(text);
    const unsigned lead = static_cast<unsigned char>(text[0]);
    // U+0080..U+009F are control characters too, and some terminals act on them.
    const bool c1_control =
        length == 2 && lead == 0xC2 && static_cast<unsigned char>(text[1]) < 0xA0;
    if (length == 0 || lead < 0x20 || lead == 0x7F || c1_control) {
      safe += '?';
    } else {
      safe += text.substr(0, length);
    }
    text.remove_prefix(std::max<std::size_t>(length, 1));
  }
  return safe;
}

const char* word(StepKind kind) {
  for (const auto& [step, name] : kStepWords) {
    if (step == kind) {
      return name.data();  // of a literal, so ended by a zero
    }
  }
  return "none";
}

}  // namespace nocktrail::rules
