#include "nocktrail/flight/stroke.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "nocktrail/flight/headline.hpp"
#include "nocktrail/median.hpp"

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
  const double middle_s = upper_median(off);
  if (std::abs(middle_s) < 0.0012) {
    for (TipPlace& place : shifted) {
      place.virtual_s -= middle_s;
    }
  }
  return shifted;
}

// One exit and stroke of the grid.
struct Cell {
  double exit_s;
  double loose_s;
  double log_weight;         // by pictures and surge
  double log_weight_placed;  // and by where the camera stands
};

struct Timing {
  double exit_s = 0.0;
  double exit_sigma_s = 0.0;
  double loose_s = 0.0;
};

Timing mean_timing(const std::vector<Cell>& cells, double Cell::*log_weight) {
  double top = -std::numeric_limits<double>::infinity();
  for (const Cell& cell : cells) {
    top = std::max(top, cell.*log_weight);
  }
  double sum = 0.0;
  Timing mean;
  for (const Cell& cell : cells) {
    const double weight = std::exp(cell.*log_weight - top);
    sum += weight;
    mean.exit_s += weight * cell.exit_s;
    mean.loose_s += weight * cell.loose_s;
  }
  mean.exit_s /= sum;
  mean.loose_s /= sum;
  double square = 0.0;
  for (const Cell& cell : cells) {
    const double off = cell.exit_s - mean.exit_s;
    square += std::exp(cell.*log_weight - top) * off * off;
  }
  mean.exit_sigma_s = std::sqrt(square / sum);
  return mean;
}

}  // namespace

Stroke fit_stroke(const FreeFlight& flight, const std::vector<TipPlace>& all_places, double surge_s,
                  const StrokeOptions& options) {
  const double speed = flight.speed_mps;
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
      const double zr =
          (flight.nock_forward_m(exit) + options.brace_m - options.camera_behind_m.mean) /
          options.camera_behind_m.sigma;
      // Now and then the surge is something else that moved.
      constexpr double kOther = 0.04;
      constexpr double kWider = 4.0;
      const double timing = (1.0 - kOther) * std::exp(-0.5 * zl * zl) +
                            kOther / kWider * std::exp(-0.5 * zl * zl / (kWider * kWider));
      double log_weight = -0.5 * zs * zs + std::log(timing);
      for (const TipPlace& place : places) {
        const double z =
            (speed * (place.virtual_s - place.t_s) - ahead_m(place.t_s, exit, stroke)) /
            place.sigma_m;
        // Outliers spread over half a metre. A hidden point lets something nearer be taken for it,
        // less often something further away.
        const double share = z < 0.0 ? options.short_share : options.long_share;
        log_weight += options.places_weight * std::log((1.0 - share) * std::exp(-0.5 * z * z) +
                                                       share * 2.5 * place.sigma_m / 0.5);
      }
      cells.push_back({exit, loose, log_weight, log_weight - 0.5 * zr * zr});
    }
  }
  const Timing witnessed = mean_timing(cells, &Cell::log_weight);
  const Timing placed = mean_timing(cells, &Cell::log_weight_placed);
  const double exit_sigma = std::max(kTimeStep, placed.exit_sigma_s);
  Stroke stroke;
  stroke.exit_s = placed.exit_s;
  stroke.exit_sigma_s = exit_sigma;
  stroke.loose_s = placed.loose_s;
  stroke.witnessed_exit_s = witnessed.exit_s;
  stroke.witnessed_exit_sigma_s = std::max(kTimeStep, witnessed.exit_sigma_s);
  stroke.rest_forward_m = flight.nock_forward_m(stroke.exit_s) + options.brace_m;
  stroke.rest_sigma_m = std::hypot(speed * exit_sigma, options.brace_sigma_m);
  stroke.seen = std::any_of(places.begin(), places.end(), [&](const TipPlace& place) {
    return place.t_s < stroke.exit_s - 0.001 &&
           std::abs(speed * (place.virtual_s - place.t_s) -
                    ahead_m(place.t_s, stroke.exit_s, options.stroke_mean_m)) < 0.08;
  });
  return stroke;
}

Stroke fit_stroke(const FlightFit& fit, const std::vector<TipPlace>& places, double surge_s,
                  const StrokeOptions& options) {
  const FreeFlight flight{std::exp(fit.parameters[kLogSpeed]), [&](double t_s) {
                            return nock_forward_m(fit.parameters, fit.principal_px,
                                                  t_s - fit.anchor_s);
                          }};
  return fit_stroke(flight, places, surge_s, options);
}

}  // namespace nocktrail::flight
