#include "nocktrail/units/units.hpp"

#include <fmt/format.h>

#include <charconv>
#include <cmath>

#include "nocktrail/error.hpp"

namespace nocktrail::units {
namespace {

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) {
    return {};
  }
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

}  // namespace

double parse_length_m(std::string_view text, std::string_view field) {
  const std::string_view body = trimmed(text);
  double number = 0.0;
  const auto parsed = std::from_chars(body.data(), body.data() + body.size(), number);
  const std::string_view unit =
      trimmed(body.substr(static_cast<std::size_t>(parsed.ptr - body.data())));
  double metres_per_unit = 0.0;
  if (unit == "in") {
    metres_per_unit = kMetresPerInch;
  } else if (unit == "mm") {
    metres_per_unit = 1e-3;
  } else if (unit == "cm") {
    metres_per_unit = 1e-2;
  } else if (unit == "m") {
    metres_per_unit = 1.0;
  }
  if (parsed.ec != std::errc{} || metres_per_unit == 0.0 || !std::isfinite(number)) {
    throw BadInput(
        fmt::format("{}: cannot read \"{}\" as a length; write a number and a unit, for example "
                    "30in, 762mm or 0.762m",
                    field, text));
  }
  return number * metres_per_unit;
}

}  // namespace nocktrail::units
