#include "side_shot.hpp"

#include <algorithm>
#include <cmath>

#include "nocktrail/side/path.hpp"
#include "nocktrail/side/sight.hpp"
#include "side_ends.hpp"
#include "side_exit.hpp"

namespace nocktrail::pipeline {
namespace {

side::Parameters start_from(const side::Path& path, double anchor_s, double focal_px,
                            const side::SidePriors& priors) {
  const double length_m = priors.flight.length_m.mean;
  const Eigen::Vector2d centre = path.at_px + path.along * path.middle_px(anchor_s);
  side::Parameters p = side::Parameters::Zero();
  p[side::kCentreX] = centre.x();
  p[side::kCentreY] = centre.y();
  const double depth_m = focal_px * length_m / std::max(path.length_px(anchor_s), 20.0);
  p[side::kLogDepth] = std::log(depth_m);
  p[side::kSlope] = std::atan2(path.along.y(), std::abs(path.along.x()));
  p[side::kLogSpeed] = std::log(path.speed_px_s(anchor_s) * depth_m / focal_px);
  p[side::kLogLength] = std::log(length_m);
  p[side::kLogFocal] = std::log(focal_px);
  p[side::kReadout] = priors.flight.readout_s.mean;
  p[side::kLogWave] = priors.flight.log_wave.mean;
  p[side::kDamping] = priors.flight.damping.mean;
  p[side::kLift] = priors.flight.lift_m.mean;
  p[side::kDrag] = priors.flight.drag_mps2.mean;
  p[side::kFlexHz] = priors.flight.flex_hz.mean;
  p[side::kFlexDecay] = priors.flight.flex_decay.mean;
  p[side::kTipMass] = priors.flight.tip_mass_ratio.mean;
  return p;
}

// Sees the arrow in all frames from first_s on in which most of it is in the picture.
template <typename Middle>
std::vector<track::ArrowSighting> sight_all(const side::Strip& strip, const SideScene& scene,
                                            const side::Path& path, double first_s,
                                            const Middle& middle_and_length) {
  std::vector<track::ArrowSighting> sightings;
  const cv::Size size = scene.luma.front().size();
  for (std::size_t k = 0; k < scene.t_s.size(); ++k) {
    if (scene.t_s[k] < first_s || scene.motion[k].lost) {
      continue;
    }
    const auto [middle, length] = middle_and_length(scene.t_s[k]);
    if (!(length > 40.0)) {
      continue;
    }
    const Eigen::Vector2d px = path.at_px + path.along * middle;
    if (px.x() < 0.0 || px.y() < 0.0 || px.x() > size.width - 1.0 || px.y() > size.height - 1.0) {
      continue;
    }
    if (auto sighting = strip.sight(k, middle, length)) {
      sightings.push_back(std::move(*sighting));
    }
  }
  return sightings;
}

// Ground of the shaft's brightness makes it look shorter, hardly ever longer: an end that lies well
// inside where the outer ones of all frames have it is not the arrow's.
void drop_hidden_ends(std::vector<track::ArrowSighting>& sightings, const side::SideFit& fit) {
  constexpr double kWithin = 0.08;  // of the length in the picture
  const auto beyond = [&](const track::ArrowSighting& sighting, bool tip) {
    const Eigen::Vector2d nock_px = side::seen_px(fit, sighting.t_s, 0.0);
    const Eigen::Vector2d tip_px = side::seen_px(fit, sighting.t_s, 1.0);
    const Eigen::Vector2d shaft = tip_px - nock_px;
    const Eigen::Vector2d off = tip ? sighting.tip->at_px - tip_px : nock_px - sighting.nock->at_px;
    return off.dot(shaft) / shaft.squaredNorm();
  };
  for (const bool tip : {false, true}) {
    std::vector<double> all;
    for (const track::ArrowSighting& sighting : sightings) {
      if (tip ? sighting.tip.has_value() : sighting.nock.has_value()) {
        all.push_back(beyond(sighting, tip));
      }
    }
    if (all.size() < 3) {
      continue;
    }
    std::sort(all.begin(), all.end());
    const double outer = all[all.size() * 3 / 4];
    for (track::ArrowSighting& sighting : sightings) {
      std::optional<track::EndPoint>& end = tip ? sighting.tip : sighting.nock;
      if (end && std::abs(beyond(sighting, tip) - outer) > kWithin) {
        end.reset();
      }
    }
  }
}

// Where single frames show few ends, thirds of the flight show them together. Each such end counts
// as one of its middle frame. `expected` is {nock, point} in the picture at a time.
template <typename ExpectedAt>
void add_ends_seen_together(std::vector<track::ArrowSighting>& sightings, const side::Strip& strip,
                            const ExpectedAt& expected) {
  constexpr std::size_t kParts = 3;
  for (const bool tip : {false, true}) {
    std::vector<track::ArrowSighting*> without;
    for (track::ArrowSighting& sighting : sightings) {
      if (!(tip ? sighting.tip : sighting.nock)) {
        without.push_back(&sighting);
      }
    }
    if (without.size() * 3 < sightings.size() * 2) {
      continue;  // enough of them by themselves
    }
    for (std::size_t part = 0; part < kParts; ++part) {
      const std::size_t from = part * without.size() / kParts;
      const std::size_t to = (part + 1) * without.size() / kParts;
      std::vector<side::Strip::Expected> arrows;
      for (std::size_t i = from; i < to; ++i) {
        const auto [nock_px, tip_px] = expected(without[i]->t_s);
        arrows.push_back({static_cast<std::size_t>(without[i]->frame), nock_px, tip_px});
      }
      const std::optional<double> beyond = strip.end_together(arrows, tip);
      if (!beyond || arrows.size() < 2) {
        continue;
      }
      track::ArrowSighting& middle = *without[(from + to) / 2];
      const side::Strip::Expected& at = arrows[(to - from) / 2];
      const Eigen::Vector2d shaft = at.tip_px - at.nock_px;
      const Eigen::Vector2d px = tip ? Eigen::Vector2d(at.tip_px + *beyond * shaft)
                                     : Eigen::Vector2d(at.nock_px - *beyond * shaft);
      (tip ? middle.tip : middle.nock) =
          track::EndPoint{px, std::hypot(2.0, 0.015 * shaft.norm()), false};
    }
  }
}

std::optional<SideFlight> follow_one(const SideScene& scene, const track::Crossing& crossing,
                                     const std::vector<track::Passing>& passings) {
  std::optional<side::Path> path = side::find_path(crossing, passings, scene.t_s);
  if (!path) {
    return std::nullopt;
  }
  const cv::Size size = scene.luma.front().size();
  const side::Strip strip(scene.luma, scene.t_s, *path, scene.surge_s - 0.004, {});
  // Until a fit knows better the arrow is on the string for 14 ms after the surge.
  constexpr double kFirst_s = 0.016;
  path = strip.with_extent(scene.surge_s + kFirst_s);
  std::vector<track::ArrowSighting> sightings = sight_all(
      strip, scene, *path, scene.surge_s + kFirst_s,
      [&](double t) { return std::pair<double, double>(path->middle_px(t), path->length_px(t)); });
  const auto enough = [&] { return sightings.size() >= 4; };
  if (!enough()) {
    return std::nullopt;
  }
  const auto one_run = [&] {
    keep_ends_of_one_run(sightings, *path, path->length_px(sightings[sightings.size() / 2].t_s));
  };
  one_run();
  add_ends_seen_together(sightings, strip, [&](double t) {
    const Eigen::Vector2d middle = path->at_px + path->along * path->middle_px(t);
    const Eigen::Vector2d half = path->along * (0.5 * path->length_px(t));
    return std::pair<Eigen::Vector2d, Eigen::Vector2d>(middle - half, middle + half);
  });
  const double anchor_s = sightings[sightings.size() / 2].t_s;
  const Eigen::Vector2d principal((size.width - 1) / 2.0, (size.height - 1) / 2.0);
  const double way = path->along.x() > 0.0 ? 1.0 : -1.0;
  side::SideFitOptions fit_options;
  fit_options.priors.flight = scene.fit_options.priors;
  fit_options.readout_per_px = scene.fit_options.readout_per_px;
  side::Parameters start = start_from(*path, anchor_s, scene.focal_px, fit_options.priors);
  SideFlight found;
  constexpr int kRounds = 3;
  for (int round = 0; round < kRounds; ++round) {
    found.fit =
        side::fit_side(sightings, start, way, anchor_s, principal, scene.focal_px, fit_options);
    if (!found.fit.converged) {
      return std::nullopt;
    }
    const side::SideFit& fit = found.fit;
    found.size_changed = std::abs(fit.parameters[side::kLogDepth] - start[side::kLogDepth]);
    found.stroke = stroke_from_side(scene, strip, *path, fit, sightings.front().t_s);
    found.sightings = sightings;
    if (round + 1 == kRounds) {
      break;
    }
    start = fit.parameters;
    sightings = sight_all(strip, scene, *path, found.stroke.exit_s + 0.0003, [&](double t) {
      const double nock = path->along_px(side::seen_px(fit, t, 0.0));
      const double tip = path->along_px(side::seen_px(fit, t, 1.0));
      return std::pair<double, double>(0.5 * (nock + tip), tip - nock);
    });
    if (!enough()) {
      return std::nullopt;
    }
    one_run();
    drop_hidden_ends(sightings, fit);
    add_ends_seen_together(sightings, strip, [&](double t) {
      return std::pair(side::seen_px(fit, t, 0.0), side::seen_px(fit, t, 1.0));
    });
  }
  return found;
}

}  // namespace

std::optional<SideFlight> follow_from_side(const SideScene& scene,
                                           const std::vector<track::Crossing>& crossings,
                                           const std::vector<track::Passing>& passings) {
  std::optional<SideFlight> best;
  for (const track::Crossing& crossing : crossings) {
    std::optional<SideFlight> found = follow_one(scene, crossing, passings);
    if (!found) {
      continue;
    }
    const bool sure = beyond_doubt(found->fit);
    const bool best_is_sure = best && beyond_doubt(best->fit);
    if (!best || (sure && !best_is_sure) ||
        (sure == best_is_sure && below_axis_rad(found->fit) < below_axis_rad(best->fit))) {
      best = std::move(found);
    }
  }
  return best;
}

double below_axis_rad(const side::SideFit& fit) {
  return std::atan((fit.parameters[side::kCentreY] - fit.principal_px.y()) /
                   std::exp(fit.parameters[side::kLogFocal]));
}

bool beyond_doubt(const side::SideFit& fit) {
  return fit.frames >= kLeastSideFrames && fit.ends >= kLeastSideEnds && fit.centre_scale < 4.0 &&
         fit.end_scale < kMostSideEndScale;
}

}  // namespace nocktrail::pipeline
