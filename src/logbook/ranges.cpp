#include "ranges.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>
#include <vector>

#include "nocktrail/rules/step_words.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "store.hpp"
#include "words.hpp"

namespace nocktrail::logbook {
namespace {

struct Range {
  std::string_view ending;  // of the column's name; the first that fits holds
  double low;
  double high;
};

// In the column's unit.
constexpr std::array<Range, 33> kRanges{{
    {"draw_weight_n", 0.0, 2000.0},
    {"rated_draw_m", 0.0, 2.0},
    {"draw_m", 0.0, 2.0},
    {"max_draw_m", 0.0, 2.0},
    {"max_draw_weight_n", 0.0, 2000.0},
    {"brace_min_m", 0.0, 1.0},
    {"brace_max_m", 0.0, 1.0},
    {"brace_height_m", 0.0, 1.0},
    {"min_grains_per_pound", 0.0, 100.0},
    {"plate_offset_m", -0.2, 0.2},
    {"nocking_point_m", -0.2, 0.2},
    {"string_mass_kg", 0.0, 1.0},
    {"length_m", 0.0, 2.0},
    {"diameter_m", 0.0, 0.1},
    {"mass_per_length_kg_per_m", 0.0, 1.0},
    {"mass_kg", 0.0, 1.0},
    {"spine", 0.0, 1000.0},
    {"focal_35mm", 1.0, 1000.0},
    {"focal_px", 0.0, 1e6},
    {"capture_fps", 0.0, 1e5},
    {"loose_s", -1e3, 1e6},
    {"exit_s", -1e3, 1e6},
    {"correlation", -1.0, 1.0},
    {"overshoot_chance", 0.0, 1.0},
    {"freedom", 0.0, 1e6},
    {"speed_mps", 0.0, 1e4},
    {"flex_hz", 0.0, 1e5},
    {"flex_mm", 0.0, 1e5},
    {"scatter_deg", 0.0, 1e5},
    {"_deg", -360.0, 360.0},
    {"deg_per_m", -1e5, 1e5},
    {"amount", -1e4, 1e4},
    {"_number", -1e4, 1e4},
}};

// Of an interval's half width, where next to nothing is known.
constexpr double kWidest = 1e5;

struct WholeRange {
  std::string_view column;
  std::int64_t low;
  std::int64_t high;
};
constexpr std::array<WholeRange, 4> kWholeRanges{{
    {"position", 1, 1000000},
    {"number", 1, 1000000},
    {"counted", 0, 1000000},
    {"refused", 0, 1000000},
}};

std::vector<std::string> step_words() {
  std::vector<std::string> words;
  for (const auto& [kind, name] : rules::kStepWords) {
    words.emplace_back(name);
  }
  return words;
}

std::string said(const Value& value) {
  return value.index() == 0 ? std::string() : std::get<std::string>(value);
}

// The words that a column of words may hold; empty for one of free text.
std::vector<std::string> words_of(const std::string& column) {
  if (column == "hand") {
    return {said(word(Hand::right)), said(word(Hand::left))};
  }
  if (column == "fletching") {
    return {said(word(tune::Fletching::fletched)), said(word(tune::Fletching::bare))};
  }
  if (column == "spine_convention") {
    return {said(word(tune::SpineConvention::wood_pounds)),
            said(word(tune::SpineConvention::deflection_in))};
  }
  if (column == "groups") {
    return {said(word(arrow::SpineGroups::pounds)), said(word(arrow::SpineGroups::deflection))};
  }
  if (column == "status") {
    return {said(word(ClipStatus::measured)), said(word(ClipStatus::no_shot)),
            said(word(ClipStatus::refused)), said(word(ClipStatus::error))};
  }
  if (column == "capture_fps_source") {
    return {said(word(RateSource::tag)), said(word(RateSource::user)),
            said(word(RateSource::container))};
  }
  if (column == "focal_source") {
    return {said(word(FocalSource::user)), said(word(FocalSource::calibration)),
            said(word(FocalSource::assumed))};
  }
  if (column == "spine") {
    return {said(word(SpineVerdict::weak)), said(word(SpineVerdict::stiff)),
            said(word(SpineVerdict::matched)), said(word(SpineVerdict::unclear))};
  }
  if (column == "nocking_point") {
    return {said(word(NockingPointVerdict::high)), said(word(NockingPointVerdict::low)),
            said(word(NockingPointVerdict::level)), said(word(NockingPointVerdict::unclear))};
  }
  if (column == "view") {
    return {said(word(View::behind)), said(word(View::side))};
  }
  if (column == "read_by") {
    return {said(word(ReadBy::program)), said(word(ReadBy::hand))};
  }
  if (column == "cant_source") {
    return {said(word(BowSource::seen)), said(word(BowSource::told)),
            said(word(BowSource::assumed))};
  }
  return column == "kind" || column == "step" ? step_words() : std::vector<std::string>{};
}

std::string misfit_in_text(const std::string& column, const std::string& value) {
  if (value.find('\0') != std::string::npos) {
    return "holds a character of value 0";
  }
  const std::string quoted = units::quoted_briefly(value);
  if ((column == "at" || column.ends_with("_at")) && !is_date(value)) {
    return fmt::format("holds \"{}\", which is no date; 2026-11-25T10:30:00Z is one", quoted);
  }
  const std::vector<std::string> words = words_of(column);
  if (!words.empty() && std::find(words.begin(), words.end(), value) == words.end()) {
    return fmt::format("holds \"{}\"; possible are {}", quoted, fmt::join(words, ", "));
  }
  return {};
}

}  // namespace

std::string misfit_in(const std::string& column, const Value& value) {
  const auto out_of = [](auto held, auto low, auto high) {
    return held >= low && held <= high
               ? std::string()
               : fmt::format("holds {}; {} to {} is possible", held, low, high);
  };
  if (const auto* words = std::get_if<std::string>(&value)) {
    return misfit_in_text(column, *words);
  }
  if (const auto* real = std::get_if<double>(&value)) {
    if (column.find("_u95") != std::string::npos) {
      return out_of(*real, 0.0, kWidest);
    }
    const auto range = std::find_if(kRanges.begin(), kRanges.end(),
                                    [&](const Range& one) { return column.ends_with(one.ending); });
    return range == kRanges.end() ? std::string() : out_of(*real, range->low, range->high);
  }
  if (const auto* number = std::get_if<std::int64_t>(&value)) {
    const auto range = std::find_if(kWholeRanges.begin(), kWholeRanges.end(),
                                    [&](const WholeRange& one) { return column == one.column; });
    return range == kWholeRanges.end() ? std::string() : out_of(*number, range->low, range->high);
  }
  return {};
}

}  // namespace nocktrail::logbook
