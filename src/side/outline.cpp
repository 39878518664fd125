#include "outline.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::side {
namespace {

// Where a side of the shaft ends, in steps from the middle; `way` -1 above, +1 below. The side
// begins at the last place from `peak` on that stands out by a third of the whole, past a dip
// between a bright and a dark one; it ends where half of its own height is left, for one of them
// stands out by more than the other.
std::optional<double> side_end(const std::vector<double>& profile, int steps, int peak, int way,
                               int reach, double noise, double height) {
  const auto at = [&](int i) { return profile[place_of(i, steps)]; };
  int last = peak;
  for (int i = peak; std::abs(i - peak) <= reach && std::abs(i) < steps; i += way) {
    if (at(i) >= noise + 0.33 * height) {
      last = i;
    }
  }
  if (std::abs(last + way) > steps) {
    return std::nullopt;
  }
  constexpr int kOwn = 2;  // steps: one pixel
  double own = 0.0;
  for (int i = 0; i <= kOwn && std::abs(last - way * i) <= steps; ++i) {
    own = std::max(own, at(last - way * i));
  }
  const double half = noise + 0.5 * (own - noise);
  int i = last + way;
  while (i != last - way * kOwn && at(i) < half) {
    i -= way;
  }
  if (std::abs(i) >= steps) {
    return std::nullopt;
  }
  const double drop = at(i) - at(i + way);
  const double f = drop > 0.0 ? (at(i) - half) / drop : 0.5;
  return i + way * std::clamp(f, 0.0, 1.0);
}

}  // namespace

std::optional<Outline> outline_in(const std::vector<double>& profile, int steps,
                                  double half_width_px, double clear_sigmas) {
  const int inner = static_cast<int>(half_width_px / kStep_px);
  double noise = 0.0;
  double most = 0.0;
  int peak = 0;
  for (int i = -steps; i <= steps; ++i) {
    const double value = profile[place_of(i, steps)];
    if (std::abs(i) > inner) {
      noise += value / (2.0 * (steps - inner));
    } else if (value > most) {
      most = value;
      peak = i;
    }
  }
  Outline outline;
  outline.height = most - noise;
  if (outline.height < clear_sigmas) {
    return std::nullopt;
  }
  const auto above = side_end(profile, steps, peak, -1, inner, noise, outline.height);
  const auto below = side_end(profile, steps, peak, 1, inner, noise, outline.height);
  if (!above || !below || (*below - *above) * kStep_px > 2.0 * half_width_px) {
    return std::nullopt;
  }
  outline.above_px = *above * kStep_px;
  outline.below_px = *below * kStep_px;
  return outline;
}

}  // namespace nocktrail::side
