#include "side_shot.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "nocktrail/side/path.hpp"
#include "nocktrail/side/sight.hpp"
#include "side_ends.hpp"

namespace nocktrail::pipeline {
namespace {

// At full draw the point lies past the rest: arrows are cut an inch or so longer than they are
// drawn, and are tuned from some inches more (common practice, no source).
constexpr double kPastRest_m = 0.045;
constexpr double kPastRestSigma_m = 0.035;

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

// In px along the path, and across it nothing.
double along_path(const side::Path& path, const Eigen::Vector2d& px) {
  return (px - path.at_px).dot(path.along);
}

// Where the point was in the frames about the exit, as flight::TipPlace has it.
std::vector<flight::TipPlace> tip_places(const side::Strip& strip, const side::Path& path,
                                         const side::SideFit& fit, const std::vector<double>& t_s,
                                         double from_s, double free_from_s) {
  const double to_s = free_from_s + 0.025;
  const double speed = std::exp(fit.parameters[side::kLogSpeed]);
  const auto tip_at = [&](double t) { return along_path(path, side::seen_px(fit, t, 1.0)); };
  std::vector<flight::TipPlace> places;
  for (std::size_t k = 0; k < t_s.size(); ++k) {
    const double t = t_s[k];
    if (t < from_s || t > to_s) {
      continue;
    }
    // Ahead of the free flight by the whole stroke at most.
    constexpr double kAhead_s = 0.016;
    // On the string the arrow does not lie quite on the backward continuation of its flight.
    constexpr double kBeside_m = 0.025;
    const Eigen::Vector2d tip = side::seen_px(fit, t + 0.5 * kAhead_s, 1.0) - path.at_px;
    const double px_per_m = (side::seen_px(fit, t, 1.0) - side::seen_px(fit, t, 0.0)).norm() /
                            std::exp(fit.parameters[side::kLogLength]);
    const std::optional<double> s =
        strip.foremost(k, tip_at(t - 0.002), tip_at(t + kAhead_s), tip.dot(path.across()),
                       std::max(4.0, kBeside_m * px_per_m));
    if (!s) {
      continue;
    }
    double low = t - 0.004;
    double high = t + kAhead_s + 0.002;
    for (int i = 0; i < 40; ++i) {
      const double middle = 0.5 * (low + high);
      (tip_at(middle) < *s ? low : high) = middle;
    }
    const double px_m = speed * 0.001 / std::max(tip_at(t + 0.001) - tip_at(t), 1e-3);
    places.push_back({t, 0.5 * (low + high), std::hypot(0.010, 3.0 * px_m)});
  }
  // What is found is the front of the point's smear, early by half the exposure: as much as in free
  // flight, where both times must agree.
  std::vector<double> early;
  for (const flight::TipPlace& place : places) {
    if (place.t_s >= free_from_s) {
      early.push_back(place.virtual_s - place.t_s);
    }
  }
  if (early.size() >= 2) {
    const auto middle = early.begin() + static_cast<std::ptrdiff_t>(early.size() / 2);
    std::nth_element(early.begin(), middle, early.end());
    for (flight::TipPlace& place : places) {
      place.virtual_s -= *middle;
    }
  }
  return places;
}

// When the nock left the string, by the point's places alone: ahead of the free flight followed
// backward by what a usual stroke leaves, and by nothing after it. The surge of motion is a
// witness, but in a picture of the whole archer it may be of something else. Empty where the places
// do not contradict the exit that it tells: without any that lies ahead every early exit fits
// alike.
std::optional<double> exit_against_surge(const std::vector<flight::TipPlace>& places,
                                         double stroke_m, double speed, double from_s, double to_s,
                                         double by_surge_s) {
  const double w = speed / stroke_m;
  const auto cost_of = [&](double exit_s) {
    double cost = 0.0;
    for (const flight::TipPlace& place : places) {
      const double d = exit_s - place.t_s;
      const double ahead_m = d <= 0.0 ? 0.0
                             : w * d >= std::numbers::pi / 2.0
                                 ? speed * d - stroke_m
                                 : speed * d - stroke_m * std::sin(w * d);
      constexpr double kSigma_m = 0.04;
      const double z = (speed * (place.virtual_s - place.t_s) - ahead_m) / kSigma_m;
      cost += std::min(z * z, 9.0);
    }
    return cost;
  };
  double best_s = by_surge_s;
  double least = cost_of(by_surge_s);
  const double by_surge = least;
  for (double exit_s = from_s; exit_s < to_s; exit_s += 0.0005) {
    if (const double cost = cost_of(exit_s); cost < least) {
      least = cost;
      best_s = exit_s;
    }
  }
  constexpr double kClearly = 4.0;  // two sigmas
  constexpr double kAtOdds_s = 0.012;
  // Places most of which no exit explains are not the point's, and say nothing.
  constexpr double kExplained = 2.0;  // of a place
  return by_surge - least > kClearly && std::abs(best_s - by_surge_s) > kAtOdds_s &&
                 least < kExplained * static_cast<double>(places.size())
             ? std::optional<double>(best_s)
             : std::nullopt;
}

// Where the point stood still before the loose, it says where the rest is by itself: kPastRest_m
// behind it. Taken where that is known better than by the time of the exit.
void place_rest_by_held_point(const std::vector<flight::TipPlace>& places, const side::SideFit& fit,
                              flight::Stroke& stroke) {
  std::vector<double> held_m;
  const double length_m = std::exp(fit.parameters[side::kLogLength]);
  constexpr double kSurely_s = 0.002;
  for (const flight::TipPlace& place : places) {
    if (place.t_s < stroke.loose_s - kSurely_s) {
      held_m.push_back(side::nock_forward_m(fit, place.virtual_s) + length_m);
    }
  }
  if (held_m.size() < 3) {
    return;
  }
  std::sort(held_m.begin(), held_m.end());
  const double middle_m = held_m[held_m.size() / 2];
  const auto at_it = std::count_if(held_m.begin(), held_m.end(),
                                   [&](double m) { return std::abs(m - middle_m) < 0.015; });
  const double sigma_m = std::hypot(kPastRestSigma_m, 0.012);
  if (at_it >= 3 && sigma_m < stroke.rest_sigma_m &&
      std::abs(middle_m - kPastRest_m - stroke.rest_forward_m) < 3.0 * stroke.rest_sigma_m) {
    stroke.rest_forward_m = middle_m - kPastRest_m;
    stroke.rest_sigma_m = sigma_m;
  }
}

// Sees the arrow in all frames from first_s on in which most of it is in the picture.
template <typename Middle>
std::vector<track::ArrowSighting> sight_all(const side::Strip& strip, const SideScene& scene,
                                            const side::Path& path, double first_s,
                                            const Middle& middle_and_length) {
  std::vector<track::ArrowSighting> sightings;
  const cv::Size size = scene.luma.front().size();
  for (std::size_t k = 0; k < scene.t_s.size(); ++k) {
    if (scene.t_s[k] < first_s) {
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
    const flight::FreeFlight free{std::exp(fit.parameters[side::kLogSpeed]),
                                  [&](double t) { return side::nock_forward_m(fit, t); }};
    flight::StrokeOptions stroke;
    stroke.surge_sigma_s = scene.surge_sigma_s;
    stroke.camera_behind_m = {0.0, 1e6};  // nothing is known of it from here
    // The arrow's length tells the stroke.
    stroke.stroke_mean_m =
        std::exp(fit.parameters[side::kLogLength]) - kPastRest_m - stroke.brace_m;
    stroke.stroke_sigma_m = std::hypot(kPastRestSigma_m, stroke.brace_sigma_m,
                                       fit_options.priors.flight.length_m.sigma);
    stroke.most_stroke_m = 0.74;
    const double first_s = sightings.front().t_s;
    const std::vector<flight::TipPlace> places =
        tip_places(strip, *path, fit, scene.t_s, first_s - 0.040, first_s);
    constexpr double kSurgeToExit_s = 0.007;
    double surge_s = scene.surge_s;
    if (const std::optional<double> own_s =
            exit_against_surge(places, stroke.stroke_mean_m, free.speed_mps, first_s - 0.045,
                               first_s + 0.010, surge_s + kSurgeToExit_s)) {
      surge_s = *own_s - kSurgeToExit_s;
      stroke.surge_sigma_s = 0.015;
    }
    found.stroke = flight::fit_stroke(free, places, surge_s, stroke);
    place_rest_by_held_point(places, fit, found.stroke);
    doubt_rest_outside(fit, size.width, found.stroke);
    found.sightings = sightings;
    if (round + 1 == kRounds) {
      break;
    }
    start = fit.parameters;
    sightings = sight_all(strip, scene, *path, found.stroke.exit_s + 0.0003, [&](double t) {
      const double nock = along_path(*path, side::seen_px(fit, t, 0.0));
      const double tip = along_path(*path, side::seen_px(fit, t, 1.0));
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

void doubt_rest_outside(const side::SideFit& fit, double picture_width_px, flight::Stroke& stroke) {
  const double speed = std::exp(fit.parameters[side::kLogSpeed]);
  const double at_rest_s =
      stroke.exit_s + (stroke.rest_forward_m - side::nock_forward_m(fit, stroke.exit_s)) / speed;
  const double x_px = side::seen_px(fit, at_rest_s, 0.0).x();
  const double px_per_m =
      std::abs(side::seen_px(fit, at_rest_s + 0.01, 0.0).x() - x_px) / (0.01 * speed);
  const double outside_m = std::max(-x_px, x_px - picture_width_px) / std::max(px_per_m, 1.0);
  constexpr double kTold_m = 0.10;  // of an exit told to some 2 ms
  if (outside_m > kTold_m) {
    stroke.rest_sigma_m = std::hypot(stroke.rest_sigma_m, outside_m);
  }
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
