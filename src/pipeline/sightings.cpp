#include "sightings.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/core/utility.hpp>

namespace nocktrail::pipeline {
namespace {

constexpr double kShaftDiameterM = 0.0075;

// A shorter shaft is a blob of vanes and blur whose ends mean nothing.
constexpr double kLeastLengthPx = 10.0;

track::Expected expect(const flight::FlightFit& fit, double t_s) {
  track::Expected expected;
  expected.nock_px = flight::seen_px(fit, t_s, 0.0);
  expected.tip_px = flight::seen_px(fit, t_s, 1.0);
  constexpr double kStep_s = 0.0005;
  const auto velocity = [&](double share) -> Eigen::Vector2d {
    return (flight::seen_px(fit, t_s + kStep_s, share) -
            flight::seen_px(fit, t_s - kStep_s, share)) /
           (2.0 * kStep_s);
  };
  expected.nock_velocity_px_s = velocity(0.0);
  expected.tip_velocity_px_s = velocity(1.0);
  const flight::ArrowState<double> state = flight::state_of(fit, t_s);
  const double nock_m = flight::shaft_point(state, 0.0, 0.0).z();
  const double tip_m = flight::shaft_point(state, 1.0, 0.0).z();
  expected.depth_ratio = nock_m > 0.2 ? tip_m / nock_m : 0.0;
  expected.width_px = std::exp(fit.parameters[flight::kLogFocal]) * kShaftDiameterM /
                      std::max(0.3, state.centre_m.z());
  // The bent shaft against its chord.
  const Eigen::Vector2d chord = (expected.tip_px - expected.nock_px).normalized();
  const Eigen::Vector2d across(-chord.y(), chord.x());
  const double length = (expected.tip_px - expected.nock_px).norm();
  constexpr int kSteps = 20;
  for (int i = 0; i <= kSteps && expected.depth_ratio > 0.0; ++i) {
    const double fraction = static_cast<double>(i) / kSteps;
    const double share = fraction / (expected.depth_ratio * (1.0 - fraction) + fraction);
    const Eigen::Vector2d on_chord = expected.nock_px + chord * (fraction * length);
    expected.bow_px.push_back(
        (flight::seen_px(fit, t_s, std::clamp(share, 1e-6, 1.0 - 1e-6)) - on_chord).dot(across));
  }
  return expected;
}

bool inside(const cv::Size& size, const Eigen::Vector2d& p) {
  return p.x() > 2 && p.y() > 2 && p.x() < size.width - 3 && p.y() < size.height - 3;
}

// job(k) for each of `count` frames, on every core; the answers in the frames' order.
template <typename Answer, typename Job>
std::vector<std::optional<Answer>> for_each_frame(std::size_t count, const Job& job) {
  std::vector<std::optional<Answer>> answers(count);
  cv::parallel_for_(cv::Range(0, static_cast<int>(count)), [&](const cv::Range& range) {
    for (int k = range.start; k < range.end; ++k) {
      answers[static_cast<std::size_t>(k)] = job(static_cast<std::size_t>(k));
    }
  });
  return answers;
}

// The arrow's place in each frame, and its paint, in turn: frames that lie askew on each other
// would blur the paint and push its ends outward.
track::PaintedPlaces find_places(const track::Region& region,
                                 const std::vector<track::ShaftProfile>& profiles,
                                 double longest_exposure_s, const track::ShaftOptions& options,
                                 KnownArrow& known) {
  const auto place_all = [&](const track::PaintedPlaces& starts) {
    return for_each_frame<track::PaintedPlace>(profiles.size(), [&](std::size_t k) {
      return track::place_painted(region, profiles[k], *known.arrow, options,
                                  starts[k] ? &*starts[k] : nullptr);
    });
  };
  track::PaintedPlaces nowhere(profiles.size());
  known.side = track::learn_side(profiles, options);
  if (!known.arrow) {
    known.arrow = track::learn_painted(region, profiles, known.side, longest_exposure_s, options);
  }
  if (!known.arrow) {
    return nowhere;
  }
  known.arrow = track::stretched_to_ends(*known.arrow);
  const track::PaintedPlaces first = place_all(nowhere);
  const track::PaintedArrow before = *known.arrow;
  known.arrow = track::learn_painted(region, profiles, known.side, longest_exposure_s, options,
                                     first, &before);
  return known.arrow ? place_all(first) : nowhere;
}

// The far arrow in one frame, and where the flight has it.
struct Far {
  std::size_t frame = 0;
  Eigen::Vector2d expected_px;
  double length_px = 0.0;
  Eigen::Vector2d along;
  track::FarSight sight;
};

// Whether what is found around frame seen[i] keeps step with what is expected. The arrow that
// sticks in the butt does not, nor one that a codec leaves standing for some frames.
bool flies_on(const std::vector<Far>& seen, std::size_t i) {
  constexpr std::size_t kNeighbours = 3;
  constexpr std::size_t kMostFramesAway = 6;
  constexpr double kLeast = 4.0;
  constexpr double kLeastTravel_px = 1.5;
  constexpr double kLeastShare = 0.7;
  constexpr double kMostShare = 1.4;
  double travel = 0.0;
  double n = 0.0;
  double x = 0.0;
  double y = 0.0;
  double xx = 0.0;
  double xy = 0.0;
  for (std::size_t j = i - std::min(i, kNeighbours); j < seen.size() && j <= i + kNeighbours; ++j) {
    if (std::max(seen[i].frame, seen[j].frame) - std::min(seen[i].frame, seen[j].frame) >
        kMostFramesAway) {
      continue;
    }
    const double expected = (seen[j].expected_px - seen[i].expected_px).dot(seen[i].along);
    const double moved = (seen[j].sight.at_px - seen[i].sight.at_px).dot(seen[i].along);
    n += 1.0;
    x += expected;
    y += moved;
    xx += expected * expected;
    xy += expected * moved;
    travel = std::max(travel, std::abs(expected));
  }
  const double variance = xx - x * x / n;
  if (n < kLeast || travel < kLeastTravel_px || variance <= 0.0) {
    return false;
  }
  const double share = (xy - x * y / n) / variance;  // slope of the regression line
  return share >= kLeastShare && share <= kMostShare;
}

}  // namespace

std::vector<track::ArrowSighting> coarse_sightings(const track::Region& region,
                                                   const track::Sweep& sweep,
                                                   const std::vector<double>& t_s,
                                                   const track::ShaftOptions& options) {
  const auto shafts = for_each_frame<track::CoarseShaft>(t_s.size(), [&](std::size_t k) {
    return track::coarse_shaft(region, k, sweep, t_s[k], options);
  });
  std::vector<track::ArrowSighting> sightings;
  for (std::size_t k = 0; k < t_s.size(); ++k) {
    const auto& shaft = shafts[k];
    if (!shaft) {
      continue;
    }
    track::ArrowSighting sighting;
    sighting.frame = static_cast<int>(k);
    sighting.t_s = t_s[k];
    const double length = (shaft->nock_px - shaft->tip_px).norm();
    for (const double share : {0.15, 0.5, 0.85}) {
      sighting.centre.push_back({shaft->nock_px + share * (shaft->tip_px - shaft->nock_px), 0.8});
    }
    sighting.nock = track::EndPoint{shaft->nock_px, 2.0 + 0.05 * length};
    sighting.tip = track::EndPoint{shaft->tip_px, 2.0 + 0.05 * length};
    sightings.push_back(sighting);
  }
  return sightings;
}

std::vector<track::ArrowSighting> fine_sightings(const track::Region& region,
                                                 const flight::FlightFit& fit, double first_s,
                                                 const std::vector<double>& t_s,
                                                 const cv::Size& size, const Search& search,
                                                 const track::ShaftOptions& options,
                                                 KnownArrow& known) {
  auto cut = for_each_frame<track::ShaftProfile>(
      t_s.size(), [&](std::size_t k) -> std::optional<track::ShaftProfile> {
        if (t_s[k] < first_s || region.difference[k].empty()) {
          return std::nullopt;
        }
        track::Expected expected = expect(fit, t_s[k]);
        const double length = (expected.tip_px - expected.nock_px).norm();
        if (expected.depth_ratio <= 0.0 || !inside(size, expected.tip_px) ||
            length < kLeastLengthPx) {
          return std::nullopt;
        }
        expected.search_across_px = search.across_px;
        expected.bend_slack_px = search.bend_slack * length;
        expected.search_along_px = std::clamp(search.along_share * length, 4.0, 16.0);
        return track::cut_open(region, k, t_s[k], expected, options, known.side);
      });
  std::vector<track::ShaftProfile> profiles;
  for (auto& profile : cut) {
    if (profile) {
      profiles.push_back(std::move(*profile));
    }
  }
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  const track::PaintedPlaces places =
      search.painted ? find_places(region, profiles, 0.95 * frame_s, options, known)
                     : track::PaintedPlaces(profiles.size());
  std::vector<track::ArrowSighting> sightings;
  for (std::size_t k = 0; k < profiles.size(); ++k) {
    track::ArrowSighting sighting =
        places[k] ? track::sight_painted(profiles[k], *known.arrow, *places[k], options)
                  : track::sight(profiles[k], options);
    if (known.arrow && !places[k]) {
      sighting.nock.reset();  // they would be ends of another kind, to which the priors of the
      sighting.tip.reset();   // painted arrow's do not apply
    }
    if (sighting.centre.size() >= 2) {
      sightings.push_back(std::move(sighting));
    }
  }
  return sightings;
}

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

std::vector<flight::TipPlace> tip_places(const track::Region& region, const flight::FlightFit& fit,
                                         const std::vector<double>& t_s, double from_s, double to_s,
                                         const cv::Size& size, const track::ShaftOptions& options) {
  // The path of the point, from well before the exit to well after the last frame looked at.
  std::vector<Eigen::Vector2d> curve;
  std::vector<double> virtual_s;
  std::vector<double> width_px;
  const double focal = std::exp(fit.parameters[flight::kLogFocal]);
  const auto tip_depth = [&](double t) {
    const auto state = flight::state_of(fit, t);
    return (state.centre_m + state.axis * ((1.0 - state.balance) * state.length_m)).z();
  };
  for (double t = from_s - 0.012; t < to_s + 0.025; t += 0.0001) {
    if (tip_depth(t) < 0.7) {
      continue;
    }
    const Eigen::Vector2d p = flight::seen_px(fit, t, 1.0);
    if (!inside(size, p) || (!curve.empty() && (p - curve.back()).norm() < 1.0)) {
      continue;
    }
    curve.push_back(p);
    virtual_s.push_back(t);
    width_px.push_back(focal * kShaftDiameterM / tip_depth(t));
  }
  std::vector<flight::TipPlace> places;
  constexpr double kBesideM = 0.03;
  const double across_px =
      curve.empty() ? 4.0 : std::clamp(width_px.front() / kShaftDiameterM * kBesideM, 6.0, 30.0);
  const double speed = std::exp(fit.parameters[flight::kLogSpeed]);
  const auto ends = for_each_frame<double>(t_s.size(), [&](std::size_t k) -> std::optional<double> {
    if (t_s[k] < from_s || t_s[k] > to_s || curve.size() < 20 || region.difference[k].empty()) {
      return std::nullopt;
    }
    return track::foremost_end(region, k, curve, width_px, across_px, options);
  });
  for (std::size_t k = 0; k < t_s.size(); ++k) {
    const auto& end = ends[k];
    if (!end) {
      continue;
    }
    const auto i = static_cast<std::size_t>(*end);
    const std::size_t j = std::min(i + 1, curve.size() - 1);
    const double f = *end - static_cast<double>(i);
    const double px_m = j > i ? speed * (virtual_s[j] - virtual_s[i]) : 0.005;
    places.push_back(
        {t_s[k], (1 - f) * virtual_s[i] + f * virtual_s[j], std::hypot(0.008, 1.5 * px_m)});
  }
  return places;
}

}  // namespace nocktrail::pipeline
