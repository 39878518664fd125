// Below all rooms, as error.hpp is.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace nocktrail {

// The middle value, of an even number the upper of the two middle ones, T{} of none. In place: the
// order of `values` is lost.
template <typename T>
T upper_median(std::vector<T>& values) {
  if (values.empty()) {
    return T{};
  }
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace nocktrail
