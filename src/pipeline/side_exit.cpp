#include "side_exit.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "nocktrail/median.hpp"

namespace nocktrail::pipeline {
namespace {

// At full draw the point lies past the rest: arrows are cut an inch or so longer than they are
// drawn, and are tuned from some inches more (common practice, no source).
constexpr double kPastRest_m = 0.045;
constexpr double kPastRestSigma_m = 0.035;

// Where the point was in the frames about the exit, as flight::TipPlace has it.
std::vector<flight::TipPlace> tip_places(const SideScene& scene, const side::Strip& strip,
                                         const side::Path& path, const side::SideFit& fit,
                                         double from_s, double free_from_s) {
  const std::vector<double>& t_s = scene.t_s;
  const double to_s = free_from_s + 0.025;
  const double speed = std::exp(fit.parameters[side::kLogSpeed]);
  const auto tip_at = [&](double t) { return path.along_px(side::seen_px(fit, t, 1.0)); };
  std::vector<flight::TipPlace> places;
  for (std::size_t k = 0; k < t_s.size(); ++k) {
    const double t = t_s[k];
    if (t < from_s || t > to_s || scene.motion[k].lost) {
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
    const double middle_s = upper_median(early);
    for (flight::TipPlace& place : places) {
      place.virtual_s -= middle_s;
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
  const double middle_m = upper_median(held_m);
  const auto at_it = std::count_if(held_m.begin(), held_m.end(),
                                   [&](double m) { return std::abs(m - middle_m) < 0.015; });
  const double sigma_m = std::hypot(kPastRestSigma_m, 0.012);
  if (at_it >= 3 && sigma_m < stroke.rest_sigma_m &&
      std::abs(middle_m - kPastRest_m - stroke.rest_forward_m) < 3.0 * stroke.rest_sigma_m) {
    stroke.rest_forward_m = middle_m - kPastRest_m;
    stroke.rest_sigma_m = sigma_m;
  }
}

}  // namespace

flight::Stroke stroke_from_side(const SideScene& scene, const side::Strip& strip,
                                const side::Path& path, const side::SideFit& fit, double first_s) {
  const flight::FreeFlight free{std::exp(fit.parameters[side::kLogSpeed]),
                                [&](double t) { return side::nock_forward_m(fit, t); }};
  flight::StrokeOptions options;
  options.surge_sigma_s = scene.surge_sigma_s;
  options.camera_behind_m = {0.0, 1e6};  // nothing is known of it from here
  // The arrow's length tells the stroke.
  options.stroke_mean_m =
      std::exp(fit.parameters[side::kLogLength]) - kPastRest_m - options.brace_m;
  options.stroke_sigma_m =
      std::hypot(kPastRestSigma_m, options.brace_sigma_m, scene.fit_options.priors.length_m.sigma);
  options.most_stroke_m = 0.74;
  const std::vector<flight::TipPlace> places =
      tip_places(scene, strip, path, fit, first_s - 0.040, first_s);
  constexpr double kSurgeToExit_s = 0.007;
  double surge_s = scene.surge_s;
  if (const std::optional<double> own_s =
          exit_against_surge(places, options.stroke_mean_m, free.speed_mps, first_s - 0.045,
                             first_s + 0.010, surge_s + kSurgeToExit_s)) {
    surge_s = *own_s - kSurgeToExit_s;
    options.surge_sigma_s = 0.015;
  }
  flight::Stroke stroke = flight::fit_stroke(free, places, surge_s, options);
  place_rest_by_held_point(places, fit, stroke);
  doubt_rest_outside(fit, scene.luma.front().size().width, stroke);
  return stroke;
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

}  // namespace nocktrail::pipeline
