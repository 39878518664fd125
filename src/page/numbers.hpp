// Figures in words for the page.
#pragma once

#include <string>

#include "nocktrail/reading.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::page {

inline constexpr const char* kMissing = "\u2013";  // an en dash, where there is no figure

bool finite(const Measured& value);
bool finite(const arrow::Band& band);

// With a true minus sign; "0" for what rounds to zero.
std::string signed_number(double value, int decimals);
std::string plain_number(double value, int significant);
// "−0.12 ± 0.08"; the dash when not finite.
std::string signed_interval(const Measured& value);

// "left 2.41 ± 0.18"; the dash when not finite.
std::string lateral_cell(const Measured& offset_deg);
std::string vertical_cell(const Measured& offset_deg);
// "nock left 2.41 ± 0.18 deg", for sentences.
std::string offset_words(const Measured& offset_deg, bool vertical);
std::string offset_cell(const Measured& offset_deg, bool vertical);
Measured measured(const tune::OffsetSummary& summary);

// A quantity in the archer's units, on the axis of a chart and in words.
struct QuantityUnit {
  std::string name;    // "shaft length"
  std::string unit;    // "in"
  double in_si = 1.0;  // one of the unit, in the judgement's SI unit
  int decimals = 2;
  std::string step_name;  // a change of a size that archers make: "1/4 in"
  double step_si = 1.0;
};
QuantityUnit unit_of(tune::Quantity quantity);
// What the offset answers to, in words.
std::string name_of(const tune::Learned& learned);
std::string quantity_words(tune::Quantity quantity, double value_si);

}  // namespace nocktrail::page
