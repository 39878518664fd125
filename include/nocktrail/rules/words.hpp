// Offsets and names in words for people: the same words in summaries, on the terminal and in the
// still.
#pragma once

#include <string>
#include <string_view>

#include "nocktrail/reading.hpp"

namespace nocktrail::rules {

// "2.41 ± 0.18": a size with its 95 % half-width. Two decimals while u95 is below 0.5, one above,
// so that no more than two figures of the uncertainty show (JCGM 100:2008, 7.2.6).
std::string with_interval(double magnitude, double u95);

// "nock left 2.41 ± 0.18 deg"; "nock in line 0.00 ± 0.18 deg" when the size rounds to zero.
std::string lateral_words(const Measured& nock_right_deg);

// "nock high 0.8 ± 0.6 deg", likewise.
std::string vertical_words(const Measured& nock_high_deg);

const char* word(SpineVerdict verdict);         // "weak", ... as in the JSON
const char* word(NockingPointVerdict verdict);  // "high", ...
const char* word(StepKind kind);                // "film-more", ...

// Text of unknown origin (file names) made safe to show: control characters and bytes that are not
// UTF-8 become '?'.
std::string printable(std::string_view text);

// What mends a rate that the file does not tell; each program adds its own way to tell it.
inline constexpr const char* kSayRate =
    "say at what rate it was filmed, for example 240 frames a second";
inline constexpr const char* kCheckRate = "check the capture rate that was told";

// Of a clip whose file ends before its own account does.
inline constexpr const char* kCutShort =
    "the file was cut short and only its beginning is here; copy it from the phone again";

}  // namespace nocktrail::rules
