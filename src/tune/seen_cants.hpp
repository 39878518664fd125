// The cants that the pictures of a set-up's shots show. Private to the room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::tune {

// Whether an angle is one that can be reckoned with: finite, and below 90 deg with its interval.
bool usable(const std::optional<Measured>& angle_deg);

struct SeenCants {
  int shots = 0;
  double scatter_deg = 0.0;       // standard deviation
  double u95_deg = 0.0;           // the median of their own
  std::optional<Measured> usual;  // for a shot of the same archer whose picture does not show it
};

SeenCants seen_cants(const SetupRecord& setup);

// As told for the clip or the set-up, else as the picture shows it, this one's or its fellows',
// else assumed.
Bow bow_of(const Shot& shot, Hand hand, const std::optional<double>& told_cant_deg,
           const SeenCants& seen);

void warn_of_cants(const SeenCants& seen, std::vector<std::string>& warnings);

}  // namespace nocktrail::tune
