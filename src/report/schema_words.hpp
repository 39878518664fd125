// The words that stand for enumerations in nocktrail.reading/2, in one place for writer and reader.
#pragma once

#include <array>
#include <optional>
#include <string_view>
#include <utility>

#include "nocktrail/reading.hpp"
#include "nocktrail/rules/step_words.hpp"

namespace nocktrail::report {

inline constexpr std::string_view kSchema = "nocktrail.reading/2";
inline constexpr std::string_view kSchemaBefore = "nocktrail.reading/1";  // still read

template <typename Enum, std::size_t N>
using WordTable = std::array<std::pair<Enum, std::string_view>, N>;

inline constexpr WordTable<RateSource, 3> kRateSources{
    {{RateSource::tag, "tag"}, {RateSource::container, "container"}, {RateSource::user, "user"}}};
inline constexpr WordTable<FocalSource, 3> kFocalSources{{{FocalSource::user, "user"},
                                                          {FocalSource::calibration, "calibration"},
                                                          {FocalSource::assumed, "assumed"}}};
inline constexpr WordTable<ClipStatus, 4> kClipStatuses{{{ClipStatus::measured, "measured"},
                                                         {ClipStatus::no_shot, "no-shot"},
                                                         {ClipStatus::refused, "refused"},
                                                         {ClipStatus::error, "error"}}};
inline constexpr WordTable<ShotStatus, 2> kShotStatuses{
    {{ShotStatus::measured, "measured"}, {ShotStatus::refused, "refused"}}};
inline constexpr WordTable<SpineVerdict, 4> kSpineVerdicts{{{SpineVerdict::weak, "weak"},
                                                            {SpineVerdict::stiff, "stiff"},
                                                            {SpineVerdict::matched, "matched"},
                                                            {SpineVerdict::unclear, "unclear"}}};
inline constexpr WordTable<NockingPointVerdict, 4> kNockingPointVerdicts{
    {{NockingPointVerdict::high, "high"},
     {NockingPointVerdict::low, "low"},
     {NockingPointVerdict::level, "level"},
     {NockingPointVerdict::unclear, "unclear"}}};

inline constexpr WordTable<View, 2> kViews{{{View::behind, "behind"}, {View::side, "side"}}};
inline constexpr WordTable<ReadBy, 2> kReadBy{
    {{ReadBy::program, "program"}, {ReadBy::hand, "hand"}}};
inline constexpr WordTable<BowSource, 3> kBowSources{
    {{BowSource::seen, "seen"}, {BowSource::told, "told"}, {BowSource::assumed, "assumed"}}};
inline constexpr WordTable<Hand, 2> kHands{{{Hand::right, "right"}, {Hand::left, "left"}}};

template <typename Enum, std::size_t N>
std::string_view word_of(const WordTable<Enum, N>& table, Enum value) {
  for (const auto& [entry, word] : table) {
    if (entry == value) {
      return word;
    }
  }
  return table.back().second;
}

template <typename Enum, std::size_t N>
std::optional<Enum> value_of(const WordTable<Enum, N>& table, std::string_view word) {
  for (const auto& [entry, name] : table) {
    if (name == word) {
      return entry;
    }
  }
  return std::nullopt;
}

}  // namespace nocktrail::report
