#include "numbers.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"

namespace nocktrail::page {
namespace {

// "nock left 2.41 ± 0.18 deg" without the words that the column's head already says.
std::string bare(std::string words) {
  const std::string head = "nock ";
  const std::string tail = " deg";
  if (words.starts_with(head)) {
    words.erase(0, head.size());
  }
  if (words.ends_with(tail)) {
    words.erase(words.size() - tail.size());
  }
  return words;
}

}  // namespace

bool finite(const Measured& value) {
  return std::isfinite(value.value) && std::isfinite(value.u95);
}

bool finite(const arrow::Band& band) {
  return std::isfinite(band.median) && std::isfinite(band.low95) && std::isfinite(band.high95);
}

std::string signed_number(double value, int decimals) {
  if (!std::isfinite(value)) {
    return kMissing;
  }
  if (std::abs(value) < 0.5 * std::pow(10.0, -decimals)) {
    return "0";
  }
  return fmt::format("{}{:.{}f}", value < 0.0 ? "−" : "+", std::abs(value), decimals);
}

std::string plain_number(double value, int significant) {
  if (!std::isfinite(value)) {
    return kMissing;
  }
  return fmt::format("{}{:.{}g}", value < 0.0 ? "−" : "", std::abs(value), significant);
}

std::string signed_interval(const Measured& value) {
  if (!finite(value)) {
    return kMissing;
  }
  return fmt::format("{}{}", value.value < 0.0 ? "−" : "+",
                     rules::with_interval(std::abs(value.value), value.u95));
}

std::string lateral_cell(const Measured& offset_deg) {
  return finite(offset_deg) ? bare(rules::lateral_words(offset_deg)) : kMissing;
}

std::string vertical_cell(const Measured& offset_deg) {
  return finite(offset_deg) ? bare(rules::vertical_words(offset_deg)) : kMissing;
}

std::string offset_words(const Measured& offset_deg, bool vertical) {
  if (!finite(offset_deg)) {
    return vertical ? "no vertical offset" : "no lateral offset";
  }
  return vertical ? rules::vertical_words(offset_deg) : rules::lateral_words(offset_deg);
}

std::string offset_cell(const Measured& offset_deg, bool vertical) {
  return vertical ? vertical_cell(offset_deg) : lateral_cell(offset_deg);
}

Measured measured(const tune::OffsetSummary& summary) {
  return {summary.mean_deg, summary.u95_deg};
}

QuantityUnit unit_of(tune::Quantity quantity) {
  const double inch = units::kMetresPerInch;
  switch (quantity) {
    case tune::Quantity::shaft_length:
      return {"shaft length", "in", inch, 2, "1/4 in", inch / 4.0};
    case tune::Quantity::tip_mass:
      return {"tip weight",
              "gr",
              units::kKilogramsPerGrain,
              0,
              "25 gr",
              25.0 * units::kKilogramsPerGrain};
    case tune::Quantity::nocking_point:
      return {"nocking point above square", "in", inch, 3, "1/16 in", inch / 16.0};
    case tune::Quantity::brace_height:
      return {"brace height", "in", inch, 2, "1/4 in", inch / 4.0};
    case tune::Quantity::plate_offset:
      return {"strike plate outside the string's plane", "in", inch, 3, "1/32 in", inch / 32.0};
    case tune::Quantity::spine:
      break;
  }
  // The stiffness itself; a pound of wooden spine is 0.080833 N m2 (docs/arrow-model.md).
  return {"shaft stiffness EI", "N m²", 1.0, 2, "5 lb of wooden spine", 5.0 * 0.080833};
}

std::string name_of(const tune::Learned& learned) {
  return learned.whole_arrow ? "whole arrow's length" : unit_of(learned.quantity).name;
}

std::string quantity_words(tune::Quantity quantity, double value_si) {
  if (!std::isfinite(value_si)) {
    return kMissing;
  }
  const QuantityUnit unit = unit_of(quantity);
  const double value = value_si / unit.in_si;
  const std::string sign = value < 0.0 ? "−" : "";
  const std::string in_unit =
      fmt::format("{}{:.{}f} {}", sign, std::abs(value), unit.decimals, unit.unit);
  if (unit.unit == "in") {
    // As the archer's rule has it, where it was told so.
    const double marks = 32.0 * std::abs(value);
    if (std::abs(marks - std::round(marks)) < 0.01) {
      return tune::inches_and_mm(value_si);
    }
    return fmt::format("{} ({}{:.1f} mm)", in_unit, sign, std::abs(1000.0 * value_si));
  }
  if (unit.unit == "gr") {
    return fmt::format("{} ({}{:.2f} g)", in_unit, sign, std::abs(1000.0 * value_si));
  }
  return in_unit;
}

}  // namespace nocktrail::page
