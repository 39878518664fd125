// Where a shaft's two sides are in a profile across it. Private to the room.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

namespace nocktrail::side {

inline constexpr double kStep_px = 0.5;  // of a profile across the shaft
// A profile's place i steps from its middle; it has `steps` to either side.
inline std::size_t place_of(int i, int steps) {
  const int from_first = i + steps;
  return static_cast<std::size_t>(from_first);
}

struct Outline {
  double above_px = 0.0;  // negative: from the middle of the profile
  double below_px = 0.0;
  double height = 0.0;  // over the noise, sigmas
};

// Of what stands out within half_width_px of the middle; what lies beyond says how much of it is
// noise.
std::optional<Outline> outline_in(const std::vector<double>& profile, int steps,
                                  double half_width_px, double clear_sigmas);

}  // namespace nocktrail::side
