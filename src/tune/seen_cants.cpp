#include "seen_cants.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/cant.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {

bool usable(const std::optional<Measured>& offset) {
  constexpr double kMost_deg = 90.0;
  return offset && std::abs(offset->value) <= kMost_deg && offset->u95 >= 0.0 &&
         offset->u95 <= kMost_deg;
}

SeenCants seen_cants(const SetupRecord& setup) {
  std::vector<double> value;
  std::vector<double> u95;
  for (const ClipRecord& clip : setup.clips) {
    for (const Shot& shot : clip.reading.shots) {
      if (shot.by == ReadBy::hand && !clip.dropped.empty()) {
        continue;  // where a person's marks do not count, neither does what was seen by them
      }
      if (shot.status == ShotStatus::measured && usable(shot.cant_seen_deg)) {
        value.push_back(shot.cant_seen_deg->value);
        u95.push_back(shot.cant_seen_deg->u95);
      }
    }
  }
  SeenCants seen;
  seen.shots = static_cast<int>(value.size());
  if (value.empty()) {
    return seen;
  }
  double mean = 0.0;
  for (const double v : value) {
    mean += v / seen.shots;
  }
  for (const double v : value) {
    seen.scatter_deg += (v - mean) * (v - mean);
  }
  seen.scatter_deg = std::sqrt(seen.scatter_deg / std::max(seen.shots - 1, 1));
  seen.u95_deg = median_of(u95);
  // One archer from shot to shot (common practice, no source: a few degrees), or what is seen.
  constexpr double kUsualScatter_deg = 3.0;
  constexpr double kNormal95 = 1.96;
  seen.usual =
      Measured{median_of(value),
               std::hypot(seen.u95_deg, kNormal95 * std::max(seen.scatter_deg, kUsualScatter_deg))};
  return seen;
}

Bow bow_of(const Shot& shot, Hand hand, const std::optional<double>& told_cant_deg,
           const SeenCants& seen) {
  return rules::bow_as_known(hand, told_cant_deg,
                             usable(shot.cant_seen_deg) ? shot.cant_seen_deg : seen.usual);
}

void warn_of_cants(const SeenCants& seen, std::vector<std::string>& warnings) {
  constexpr int kFewest = 3;
  constexpr double kUneven_deg = 4.0;  // common practice, no source: beyond what a steady hand does
  if (seen.shots >= kFewest && seen.scatter_deg > std::max(kUneven_deg, seen.u95_deg)) {
    warnings.push_back(fmt::format(
        "The bow leans differently from shot to shot, by {:.0f} deg (1 standard deviation of {}): "
        "that is form, and each shot is turned by its own.",
        seen.scatter_deg, seen.shots));
  }
}

}  // namespace nocktrail::tune
