#include "sightings.hpp"

#include <Eigen/Core>
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

// The arrow's paint and its place in each frame, which follow from each other: frames that lie askew
// on each other would blur the paint and push its ends outward.
struct Painting {
  track::PaintedArrow arrow;
  track::PaintedPlaces places;
};

class Painter {
 public:
  Painter(const track::Region& region, const std::vector<track::ShaftProfile>& profiles,
          double longest_exposure_s, const track::ShaftOptions& options)
      : region_(region),
        profiles_(profiles),
        longest_exposure_s_(longest_exposure_s),
        options_(options),
        side_(track::learn_side(profiles, options)) {}

  double side() const { return side_; }
  std::optional<track::PaintedArrow> learn() const {
    return track::learn_painted(region_, profiles_, side_, longest_exposure_s_, options_);
  }
  // From an arrow that the frames are placed by.
  std::optional<Painting> paint(const track::PaintedArrow& arrow,
                                const track::PaintedPlaces& near) const {
    const track::PaintedPlaces first = place_all(arrow, near);
    const auto again = track::learn_painted(region_, profiles_, side_, longest_exposure_s_,
                                            options_, first, &arrow);
    if (!again) {
      return std::nullopt;
    }
    return Painting{*again, place_all(*again, first)};
  }
  // The same without rims that nothing in the frames shows, if it explains them as well.
  std::optional<Painting> without_rims(const Painting& whole) const {
    const auto shorter = track::without_unseen_rims(whole.arrow, profiles_, whole.places);
    if (!shorter) {
      return std::nullopt;
    }
    auto painting = paint(shorter->arrow, shorter->places);
    return painting && as_good(painting->places, whole.places) ? std::move(painting)
                                                               : std::nullopt;
  }

 private:
  track::PaintedPlaces place_all(const track::PaintedArrow& arrow,
                                 const track::PaintedPlaces& starts) const {
    return for_each_frame<track::PaintedPlace>(profiles_.size(), [&](std::size_t k) {
      return track::place_painted(region_, profiles_[k], arrow, options_,
                                  starts[k] ? &*starts[k] : nullptr);
    });
  }
  static bool as_good(const track::PaintedPlaces& shorter, const track::PaintedPlaces& whole) {
    // What the rims' freedom would have to gain to be worth having: a few natural units of evidence
    // for each end, and every twelfth pixel counts (see learn_painted).
    constexpr double kAllowance = 100.0;
    constexpr double kLeastShare = 0.8;
    double n = 0.0;
    double placed = 0.0;
    double difference = 0.0;
    for (std::size_t k = 0; k < whole.size(); ++k) {
      n += whole[k] ? 1.0 : 0.0;
      placed += shorter[k] ? 1.0 : 0.0;
      difference += whole[k] && shorter[k] ? shorter[k]->cost - whole[k]->cost : 0.0;
    }
    return placed >= kLeastShare * n && difference < kAllowance;
  }

  const track::Region& region_;
  const std::vector<track::ShaftProfile>& profiles_;
  double longest_exposure_s_;
  const track::ShaftOptions& options_;
  double side_;
};

track::PaintedPlaces find_places(const Painter& painter, std::size_t frames, KnownArrow& known) {
  const track::PaintedPlaces nowhere(frames);
  known.side = painter.side();
  if (!known.arrow) {
    known.arrow = painter.learn();
  }
  if (!known.arrow) {
    return nowhere;
  }
  std::optional<Painting> whole = painter.paint(track::stretched_to_ends(*known.arrow), nowhere);
  known.arrow.reset();
  if (!whole) {
    return nowhere;
  }
  std::optional<Painting> shorter = painter.without_rims(*whole);
  Painting& best = shorter ? *shorter : *whole;
  known.arrow = std::move(best.arrow);
  return std::move(best.places);
}

// The far arrow in one frame, and where the flight has it.
struct Far {
  std::size_t frame = 0;
  Eigen::Vector2d expected_px;
  double length_px = 0.0;
  Eigen::Vector2d along;
  track::FarSight sight;
};

double median(const Eigen::ArrayXd& values) {
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  return sorted[sorted.size() / 2];
}

// How much what is found around a frame scatters about the flight expected, px, 1 sigma.
struct FarScatter {
  double along = 0.0;
  double across = 0.0;
};

// nullopt when what is found around frame seen[i] does not keep step with what is expected. The
// arrow that sticks in the butt does not, nor one that a codec leaves standing for some frames; nor
// does what is picked from noise, which lies anywhere within the search.
std::optional<FarScatter> flies_on(const std::vector<Far>& seen, std::size_t i) {
  constexpr std::size_t kNeighbours = 3;
  constexpr std::size_t kMostFramesAway = 6;
  constexpr Eigen::Index kLeast = 4;
  constexpr double kLeastTravel_px = 1.5;
  constexpr double kLeastShare = 0.7;
  constexpr double kMostShare = 1.4;
  constexpr double kMostAlong_px = 1.5;  // a sigma; of picks from the whole search it is 2.3
  constexpr double kMostAcross_px = 1.0;
  const Eigen::Vector2d along = seen[i].along;
  const Eigen::Vector2d across(-along.y(), along.x());
  std::vector<double> expected;
  std::vector<double> moved;
  std::vector<double> aside;
  for (std::size_t j = i - std::min(i, kNeighbours); j < seen.size() && j <= i + kNeighbours; ++j) {
    if (std::max(seen[i].frame, seen[j].frame) - std::min(seen[i].frame, seen[j].frame) >
        kMostFramesAway) {
      continue;
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
    return std::nullopt;
  }
  const double share = (dx * y).sum() / variance;  // slope of the regression line
  // About the middle one, so that a single stray does not cost its neighbours their say; the stray
  // itself is left out.
  const auto here = static_cast<Eigen::Index>(
      std::find(expected.begin(), expected.end(), 0.0) - expected.begin());
  const auto scatter_of = [&](const Eigen::ArrayXd& off) -> std::optional<double> {
    constexpr double kNormal = 1.4826;  // sigma over median absolute deviation
    constexpr double kStray = 3.0;
    constexpr double kFloor_px = 0.4;
    const double middle = median(off);
    const double sigma = kNormal * median((off - middle).abs());
    const bool stray = std::abs(off[here] - middle) > kStray * std::max(sigma, kFloor_px);
    return stray ? std::nullopt : std::optional(sigma);
  };
  const auto scatter_along = scatter_of(y - share * x);
  const auto scatter_across = scatter_of(b);
  if (share < kLeastShare || share > kMostShare || !scatter_along || !scatter_across ||
      *scatter_along > kMostAlong_px || *scatter_across > kMostAcross_px) {
    return std::nullopt;
  }
  return FarScatter{*scatter_along, *scatter_across};
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
      search.painted ? find_places(Painter(region, profiles, 0.95 * frame_s, options),
                                   profiles.size(), known)
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
  constexpr double kAlongFloor_px = 0.6;
  constexpr double kUnevenShare = 0.1;  // of the length: what shows of vanes and shaft differs
  constexpr double kSharedNoise = 1.5;  // neighbouring pixels share some of their noise
  std::vector<track::ArrowSighting> sightings;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const auto scatter = flies_on(seen, i);
    if (!scatter) {
      continue;
    }
    const track::FarSight& sight = seen[i].sight;
    const double sigma_across =
        std::max(kSharedNoise * sight.sigma_across_px, scatter->across);
    const double sigma_along = std::max(kSharedNoise * sight.sigma_along_px, scatter->along);
    track::ArrowSighting sighting;
    sighting.frame = static_cast<int>(seen[i].frame);
    sighting.t_s = t_s[seen[i].frame];
    sighting.centre.push_back(
        {sight.at_px, std::hypot(kAcrossFloor_px, sigma_across)});
    sighting.middle =
        track::EndPoint{sight.at_px,
                        std::hypot(kAlongFloor_px, sigma_along, kUnevenShare * seen[i].length_px),
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
