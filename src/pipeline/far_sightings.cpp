#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "expectation.hpp"
#include "nocktrail/median.hpp"
#include "sightings.hpp"

namespace nocktrail::pipeline {
namespace {

// The far arrow in one frame, and where the flight has it.
struct Far {
  std::size_t frame = 0;
  Eigen::Vector2d expected_px;
  double length_px = 0.0;
  Eigen::Vector2d along;
  track::FarSight sight;
};

double median(const Eigen::ArrayXd& values) {
  std::vector<double> copy(values.begin(), values.end());
  return upper_median(copy);
}

// Whether `here`, one of a few values that scatter, is none of theirs, or their sigma is over
// `most`. About the middle one, so that a single stray does not cost its neighbours their say.
bool strays(const Eigen::ArrayXd& values, Eigen::Index here, double most) {
  constexpr double kNormal = 1.4826;  // sigma over median absolute deviation
  constexpr double kStray = 3.0;
  constexpr double kFloor_px = 0.4;
  const double middle = median(values);
  const double sigma = kNormal * median((values - middle).abs());
  return sigma > most || std::abs(values[here] - middle) > kStray * std::max(sigma, kFloor_px);
}

// Whether what is found in frame seen[i] and around it keeps step with what is expected. The arrow
// that sticks in the butt does not, nor one that a codec leaves standing for some frames; nor does
// what is picked from noise, which lies anywhere within the search.
bool flies_on(const std::vector<Far>& seen, std::size_t i) {
  constexpr std::size_t kNeighbours = 3;
  constexpr std::size_t kMostFramesAway = 6;
  constexpr Eigen::Index kLeast = 4;
  constexpr double kLeastTravel_px = 1.5;
  constexpr double kLeastShare = 0.7;
  constexpr double kMostShare = 1.4;
  constexpr double kMostAlong_px = 1.5;  // sigma; of picks from the whole search it is 2.3
  constexpr double kMostAcross_px = 1.0;
  const Eigen::Vector2d along = seen[i].along;
  const Eigen::Vector2d across(-along.y(), along.x());
  std::vector<double> expected;
  std::vector<double> moved;
  std::vector<double> aside;
  Eigen::Index here = 0;
  for (std::size_t j = i - std::min(i, kNeighbours); j < seen.size() && j <= i + kNeighbours; ++j) {
    if (std::max(seen[i].frame, seen[j].frame) - std::min(seen[i].frame, seen[j].frame) >
        kMostFramesAway) {
      continue;
    }
    if (j == i) {
      here = static_cast<Eigen::Index>(expected.size());
    }
    expected.push_back((seen[j].expected_px - seen[i].expected_px).dot(along));
    moved.push_back((seen[j].sight.at_px - seen[i].sight.at_px).dot(along));
    aside.push_back((seen[j].sight.at_px - seen[j].expected_px).dot(across));
  }
  const auto n = static_cast<Eigen::Index>(expected.size());
  const Eigen::Map<const Eigen::ArrayXd> x(expected.data(), n);
  const Eigen::Map<const Eigen::ArrayXd> y(moved.data(), n);
  const Eigen::Map<const Eigen::ArrayXd> b(aside.data(), n);
  const Eigen::ArrayXd dx = x - x.mean();
  const double variance = dx.square().sum();
  if (n < kLeast || x.abs().maxCoeff() < kLeastTravel_px || variance <= 0.0) {
    return false;
  }
  const double share = (dx * y).sum() / variance;  // slope of the regression line
  return share >= kLeastShare && share <= kMostShare &&
         !strays(y - share * x, here, kMostAlong_px) && !strays(b, here, kMostAcross_px);
}

}  // namespace

std::vector<track::ArrowSighting> far_sightings(const track::Region& region,
                                                const flight::FlightFit& fit,
                                                const std::vector<double>& t_s,
                                                const cv::Size& size) {
  constexpr double kLeastFarLengthPx = 1.5;
  constexpr double kSearch_px = 4.0;
  const auto found = for_each_frame<Far>(t_s.size(), [&](std::size_t k) -> std::optional<Far> {
    if (t_s[k] < fit.anchor_s || region.difference[k].empty()) {
      return std::nullopt;
    }
    track::Expected expected = expect(fit, t_s[k]);
    const double length = (expected.tip_px - expected.nock_px).norm();
    if (expected.depth_ratio <= 0.0 || !inside(size, expected.tip_px) || length >= kLeastLengthPx ||
        length < kLeastFarLengthPx) {
      return std::nullopt;
    }
    expected.search_across_px = kSearch_px;
    expected.search_along_px = kSearch_px;
    const auto sight = track::sight_far(region, k, expected);
    if (!sight) {
      return std::nullopt;
    }
    return Far{k, 0.5 * (expected.nock_px + expected.tip_px), length,
               (expected.tip_px - expected.nock_px) / length, *sight};
  });
  std::vector<Far> seen;
  for (const auto& one : found) {
    if (one) {
      seen.push_back(*one);
    }
  }
  constexpr double kAcrossFloor_px = 0.4;
  constexpr double kAlongFloor_px = 0.7;
  constexpr double kUnevenShare = 0.1;  // of the length: what shows of vanes and shaft differs
  constexpr double kSharedNoise = 1.5;  // neighbouring pixels share some of their noise
  std::vector<track::ArrowSighting> sightings;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    if (!flies_on(seen, i)) {
      continue;
    }
    const track::FarSight& sight = seen[i].sight;
    track::ArrowSighting sighting;
    sighting.frame = static_cast<int>(seen[i].frame);
    sighting.t_s = t_s[seen[i].frame];
    sighting.centre.push_back(
        {sight.at_px, std::hypot(kAcrossFloor_px, kSharedNoise * sight.sigma_across_px)});
    sighting.middle =
        track::EndPoint{sight.at_px,
                        std::hypot(kAlongFloor_px, kSharedNoise * sight.sigma_along_px,
                                   kUnevenShare * seen[i].length_px),
                        false};
    sightings.push_back(sighting);
  }
  return sightings;
}

}  // namespace nocktrail::pipeline
