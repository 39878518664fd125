#include "sightings.hpp"

#include <algorithm>
#include <cmath>

#include "expectation.hpp"

namespace nocktrail::pipeline {

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
        if (t_s[k] < first_s || region.difference[k].empty() || is_left_out(k, search.left_out)) {
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
