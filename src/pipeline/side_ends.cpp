#include "side_ends.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>

namespace nocktrail::pipeline {
namespace {

constexpr double kLeastApart_s = 0.010;  // two ends that say how a run drifts
constexpr double kMostDrift = 0.3;       // of the speed
constexpr std::size_t kLeastAgree = 3;
constexpr double kMany = 0.6;  // of those that agree on the best run

struct End {
  std::size_t sighting;
  double t_s;
  double off_px;  // from the path's middle, along it
};

struct Run {
  double at_zero_px = 0.0;
  double drift_px_s = 0.0;
  std::size_t agree = 0;
  double outward_px = 0.0;  // mean of those that agree
};

double off_run(const End& end, const Run& run) {
  return std::abs(end.off_px - run.at_zero_px - run.drift_px_s * end.t_s);
}

// Through each two of them.
std::vector<Run> runs_through(const std::vector<End>& ends, bool tip, const side::Path& path,
                              double within_px) {
  std::vector<Run> runs;
  for (std::size_t i = 0; i < ends.size(); ++i) {
    for (std::size_t j = i + 1; j < ends.size(); ++j) {
      const double apart_s = ends[j].t_s - ends[i].t_s;
      const double drift = (ends[j].off_px - ends[i].off_px) / apart_s;
      if (apart_s < kLeastApart_s || std::abs(drift) > kMostDrift * path.speed_px_s(ends[i].t_s)) {
        continue;
      }
      Run run;
      run.at_zero_px = ends[i].off_px - drift * ends[i].t_s;
      run.drift_px_s = drift;
      for (const End& end : ends) {
        if (off_run(end, run) <= within_px) {
          ++run.agree;
          run.outward_px += tip ? end.off_px : -end.off_px;
        }
      }
      run.outward_px /= static_cast<double>(run.agree);
      runs.push_back(run);
    }
  }
  return runs;
}

// Ground of the arrow's brightness makes it look shorter, hardly ever longer: of the runs that many
// agree on the outermost.
std::optional<Run> outermost(const std::vector<Run>& runs) {
  std::size_t most = 0;
  for (const Run& run : runs) {
    most = std::max(most, run.agree);
  }
  std::optional<Run> best;
  for (const Run& run : runs) {
    if (run.agree >= kLeastAgree &&
        static_cast<double>(run.agree) >= kMany * static_cast<double>(most) &&
        (!best || run.outward_px > best->outward_px)) {
      best = run;
    }
  }
  return best;
}

}  // namespace

void keep_ends_of_one_run(std::vector<track::ArrowSighting>& sightings, const side::Path& path,
                          double length_px) {
  const double within_px = std::max(6.0, 0.03 * length_px);
  for (const bool tip : {false, true}) {
    const auto end_of = [tip](track::ArrowSighting& sighting) -> std::optional<track::EndPoint>& {
      return tip ? sighting.tip : sighting.nock;
    };
    std::vector<End> ends;
    for (std::size_t i = 0; i < sightings.size(); ++i) {
      if (const std::optional<track::EndPoint>& end = end_of(sightings[i])) {
        const double t = sightings[i].t_s;
        ends.push_back({i, t, (end->at_px - path.at_px).dot(path.along) - path.middle_px(t)});
      }
    }
    const std::optional<Run> run = outermost(runs_through(ends, tip, path, within_px));
    if (!run) {
      continue;
    }
    for (const End& end : ends) {
      if (off_run(end, *run) > within_px) {
        end_of(sightings[end.sighting]).reset();
      }
    }
  }
}

}  // namespace nocktrail::pipeline
