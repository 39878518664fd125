// Whole numbers out of JSON of unknown origin.
#pragma once

#include <cstdint>
#include <utility>

#include "nocktrail/error.hpp"

namespace nocktrail::report {

// `value` (of nlohmann's JSON) as an Integer. Throws BadInput when it is no whole number, or one
// that does not fit: the library's own conversion is undefined for 1e23.
template <typename Integer, typename Json>
Integer whole_number(const Json& value) {
  if (value.is_number_unsigned()) {
    if (const auto number = value.template get<std::uint64_t>(); std::in_range<Integer>(number)) {
      return static_cast<Integer>(number);
    }
  } else if (value.is_number_integer()) {
    if (const auto number = value.template get<std::int64_t>(); std::in_range<Integer>(number)) {
      return static_cast<Integer>(number);
    }
  }
  throw BadInput("a number is not whole, or too large");
}

}  // namespace nocktrail::report
