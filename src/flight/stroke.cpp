#include "nocktrail/flight/stroke.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "nocktrail/flight/headline.hpp"

namespace nocktrail::flight {
namespace {

// The places less what they are off in free flight, where they must agree with it: a pointed tip
// and its blur are found a little short or long, always alike.
std::vector<TipPlace> calibrated(const std::vector<TipPlace>& places, double free_from_s) {
  std::vector<double> off;
  for (const TipPlace& place : places) {
    if (place.t_s > free_from_s) {
      off.push_back(place.virtual_s - place.t_s);
    }
  }
  std::vector<TipPlace> shifted = places;
  if (off.size() < 2) {
    return shifted;
  }
  const auto middle = off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2);
  std::nth_element(off.begin(), middle, off.end());
  if (std::abs(*middle) < 0.0012) {
    for (TipPlace& place : shifted) {
      place.virtual_s -= *middle;
    }
  }
  return shifted;
}

}  // namespace

Stroke fit_stroke(const FlightFit& fit, const std::vector<TipPlace>& all_places, double surge_s,
                  const StrokeOptions& options) {
  const double speed = std::exp(fit.parameters[kLogSpeed]);
  const double mean_duration = std::numbers::pi / 2.0 * options.stroke_mean_m / speed;
  const double exit_guess_s = surge_s + (1.0 - options.surge_share) * mean_duration;
  const std::vector<TipPlace> places = calibrated(all_places, exit_guess_s + options.surge_sigma_s);
  // How far short of the backward continuation the arrow has come at time t: zero after the exit,
  // v0 d - (v0/w) sin(w d) at d before it, the whole way before the loose.
  const auto ahead_m = [&](double t, double exit, double stroke) {
    const double d = exit - t;
    if (d <= 0.0) {
      return 0.0;
    }
    const double w = speed / stroke;
    if (w * d >= std::numbers::pi / 2.0) {
      return speed * d - stroke;
    }
    return speed * d - stroke * std::sin(w * d);
  };
  double sum = 0.0;
  double sum_exit = 0.0;
  double sum_exit2 = 0.0;
  double sum_loose = 0.0;
  std::vector<double> log_weights;
  struct Cell {
    double exit;
    double loose;
  };
  std::vector<Cell> cells;
  constexpr double kTimeStep = 0.00025;
  constexpr double kStrokeStep = 0.02;
  for (double exit = exit_guess_s - 0.035; exit < exit_guess_s + 0.035; exit += kTimeStep) {
    for (double stroke = options.least_stroke_m; stroke <= options.most_stroke_m;
         stroke += kStrokeStep) {
      const double loose = exit - std::numbers::pi / 2.0 * stroke / speed;
      const double zs = (stroke - options.stroke_mean_m) / options.stroke_sigma_m;
      const double zl =
          (loose + options.surge_share * (exit - loose) - surge_s) / options.surge_sigma_s;
      const double zr = (nock_forward_m(fit.parameters, fit.principal_px, exit - fit.anchor_s) +
                         options.brace_m - options.camera_behind_m) /
                        options.camera_behind_sigma_m;
      // Now and then the surge is something else that moved.
      constexpr double kOther = 0.04;
      constexpr double kWider = 4.0;
      const double timing = (1.0 - kOther) * std::exp(-0.5 * zl * zl) +
                            kOther / kWider * std::exp(-0.5 * zl * zl / (kWider * kWider));
      double log_weight = -0.5 * zs * zs + std::log(timing) - 0.5 * zr * zr;
      for (const TipPlace& place : places) {
        const double z =
            (speed * (place.virtual_s - place.t_s) - ahead_m(place.t_s, exit, stroke)) /
            place.sigma_m;
        // Outliers spread over half a metre. A hidden point lets something nearer be taken for it,
        // rarely something further away.
        const double share = z < 0.0 ? options.short_share : options.long_share;
        log_weight +=
            std::log((1.0 - share) * std::exp(-0.5 * z * z) + share * 2.5 * place.sigma_m / 0.5);
      }
      log_weights.push_back(log_weight);
      cells.push_back({exit, loose});
    }
  }
  const double top = *std::max_element(log_weights.begin(), log_weights.end());
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const double weight = std::exp(log_weights[i] - top);
    sum += weight;
    sum_exit += weight * cells[i].exit;
    sum_exit2 += weight * (cells[i].exit - exit_guess_s) * (cells[i].exit - exit_guess_s);
    sum_loose += weight * cells[i].loose;
  }
  Stroke stroke;
  stroke.exit_s = sum_exit / sum;
  stroke.loose_s = sum_loose / sum;
  const double offset = stroke.exit_s - exit_guess_s;
  const double exit_sigma =
      std::sqrt(std::max(kTimeStep * kTimeStep, sum_exit2 / sum - offset * offset));
  stroke.exit_sigma_s = exit_sigma;
  stroke.rest_forward_m =
      nock_forward_m(fit.parameters, fit.principal_px, stroke.exit_s - fit.anchor_s) +
      options.brace_m;
  stroke.rest_sigma_m = std::hypot(speed * exit_sigma, options.brace_sigma_m);
  stroke.seen = std::any_of(places.begin(), places.end(), [&](const TipPlace& place) {
    return place.t_s < stroke.exit_s - 0.001 &&
           std::abs(speed * (place.virtual_s - place.t_s) -
                    ahead_m(place.t_s, stroke.exit_s, options.stroke_mean_m)) < 0.08;
  });
  return stroke;
}

}  // namespace nocktrail::flight
