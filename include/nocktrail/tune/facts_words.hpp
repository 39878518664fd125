// What is known of a set-up, in the archer's units: for reports, and for the foot of a still.
#pragma once

#include <string>
#include <vector>

#include "nocktrail/arrow/unknowns.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::tune {

struct FactLine {
  std::string what;   // "Brace height"
  std::string value;  // "7 1/2 in (190.5 mm)"
};

// Every fact that was told, archer first, then bow, arrow and camera. Values that are not finite
// are left out.
std::vector<FactLine> fact_lines(const SetupFacts& facts);

// What `facts` tells otherwise than `before`, notes apart: the value now, then what it was ("29 3/4
// in (755.7 mm), was 30 in (762 mm)"; "not told" for what is told no more).
std::vector<FactLine> changed_facts(const SetupFacts& before, const SetupFacts& facts);

// The same in one short line, without millimetres: "shaft 29 3/4 in (was 30 in), bare (was
// fletched)"; empty for no change.
std::string changes_in_brief(const SetupFacts& before, const SetupFacts& facts);

// What is known in three paragraphs at most, for a picture: "Archer: ...", "Bow: ...", "Arrow:
// ...".
std::vector<std::string> particulars(const SetupFacts& facts);

// "29 3/4 in (755.7 mm)": sixty-fourths where they meet the length within a twentieth of a
// millimetre, else hundredths. A minus sign for lengths below zero.
std::string inches_and_mm(double length_m);

// "28 1/4 in (95 %: 27 1/4 to 28 3/4)": no finer than the interval makes sense of, eighths of an
// inch where it is wider than half an inch, else thirty-seconds.
std::string length_band_words(const arrow::Band& length_m);

}  // namespace nocktrail::tune
