#include "marked_flight.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "flight_start.hpp"
#include "nocktrail/flight/headline.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr double kUsualSpeed = 53.0;  // m/s, the middle of flight::FlightPriors::log_speed

// The straight flight v + d / (1 + rate (t - from)) through the marks, the point's times later by
// `cover_s`: linear in v and d.
struct Straight {
  double cost = std::numeric_limits<double>::infinity();
  Eigen::Vector2d vanishing_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d outward_px = Eigen::Vector2d::Zero();
  double rate = 0.0;
  double cover_s = 0.0;
};

// What a start may cost before the marks say: archers' arrows and phones, loosely.
struct Loosely {
  double length_m;
  double focal_px;
  Eigen::Vector2d principal_px;
};

Straight straight_at(const std::vector<track::ArrowSighting>& marked, double from_s, double rate,
                     double cover_s, const Loosely& loosely) {
  constexpr double kSigma_px = 3.0;      // scatter and bias of a mark together
  constexpr double kVanishShare = 0.25;  // of the focal length: phones look where the arrow flies
  constexpr double kAbove_m = 0.56;      // the camera's place, see flight::FlightPriors
  constexpr double kAboveSigma_m = 0.25;
  constexpr double kLogSpeedSigma = 0.25;
  Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
  Eigen::Matrix2d right = Eigen::Matrix2d::Zero();  // a row for v, one for d; columns x, y
  const auto add = [&](double t_s, const Eigen::Vector2d& at_px) {
    const Eigen::Vector2d row(1.0, 1.0 / (1.0 + rate * (t_s - from_s)));
    normal += row * row.transpose();
    right += row * at_px.transpose();
  };
  const double weight = std::pow(kSigma_px / (kVanishShare * loosely.focal_px), 2);
  normal(0, 0) += weight;
  right.row(0) += weight * loosely.principal_px.transpose();
  const auto each = [&](const auto& take) {
    for (const track::ArrowSighting& frame : marked) {
      if (frame.nock) {
        take(frame.t_s, frame.nock->at_px);
      }
      if (frame.tip) {
        take(frame.t_s + cover_s, frame.tip->at_px);
      }
    }
  };
  each(add);
  Straight straight;
  const Eigen::Matrix2d solution = normal.ldlt().solve(right);
  straight.vanishing_px = solution.row(0);
  straight.outward_px = solution.row(1);
  straight.rate = rate;
  straight.cover_s = cover_s;
  double squares = 0.0;
  each([&](double t_s, const Eigen::Vector2d& at_px) {
    const Eigen::Vector2d seen =
        straight.vanishing_px + straight.outward_px / (1.0 + rate * (t_s - from_s));
    squares += (seen - at_px).squaredNorm() / (kSigma_px * kSigma_px);
  });
  const double speed = loosely.length_m / cover_s;
  const double above_m = speed * straight.outward_px.norm() / (rate * loosely.focal_px);
  straight.cost =
      squares + std::pow((above_m - kAbove_m) / kAboveSigma_m, 2) +
      std::pow(std::log(speed / kUsualSpeed) / kLogSpeedSigma, 2) +
      ((straight.vanishing_px - loosely.principal_px) / (kVanishShare * loosely.focal_px))
          .squaredNorm();
  return straight;
}

flight::FitOptions with_marks(flight::FitOptions given, const std::optional<SeenExit>& exit,
                              const MarkOptions& options) {
  given.priors.nock_end_m = options.nock_end_m;
  given.priors.tip_end_m = options.tip_end_m;
  given.priors.rear_drop_m = options.rear_drop_m;
  given.priors.nock_bias_px = options.bias_px;
  given.priors.tip_bias_px = options.bias_px;
  if (exit) {
    given.exit_s = exit->t_s;
    given.exit_sigma_s = exit->sigma_s;
  }
  return given;
}

// By the exit that was seen: the stroke before it is a usual one.
flight::Stroke stroke_to(const flight::FlightFit& fit, const SeenExit& exit) {
  const flight::StrokeOptions usual;
  const double speed = std::exp(fit.parameters[flight::kLogSpeed]);
  flight::Stroke stroke;
  stroke.exit_s = exit.t_s;
  stroke.exit_sigma_s = exit.sigma_s;
  stroke.loose_s = exit.t_s - std::numbers::pi / 2.0 * usual.stroke_mean_m / speed;
  stroke.rest_forward_m =
      flight::nock_forward_m(fit.parameters, fit.principal_px, exit.t_s - fit.anchor_s) +
      usual.brace_m;
  stroke.rest_sigma_m = std::hypot(speed * exit.sigma_s, usual.brace_sigma_m);
  stroke.seen = true;
  return stroke;
}

// By where the camera is told to stand, and nothing else.
flight::Stroke stroke_by_camera(const flight::FlightFit& fit) {
  flight::StrokeOptions options;
  const double speed = std::exp(fit.parameters[flight::kLogSpeed]);
  double exit_s = fit.anchor_s;
  for (int i = 0; i < 12; ++i) {
    exit_s += (options.camera_behind_m.mean - options.brace_m -
               flight::nock_forward_m(fit.parameters, fit.principal_px, exit_s - fit.anchor_s)) /
              speed;
  }
  const double duration_s = std::numbers::pi / 2.0 * options.stroke_mean_m / speed;
  options.surge_sigma_s = 1.0;  // none was looked for
  return flight::fit_stroke(fit, {}, exit_s - (1.0 - options.surge_share) * duration_s, options);
}

MarkedFlight with_stroke(flight::FlightFit fit, const std::optional<SeenExit>& exit) {
  const flight::Stroke stroke = exit ? stroke_to(fit, *exit) : stroke_by_camera(fit);
  return {std::move(fit), stroke};
}

}  // namespace

track::ArrowSighting sighting_of_marks(int frame, double t_s,
                                       const std::optional<Eigen::Vector2d>& nock_px,
                                       const std::optional<Eigen::Vector2d>& tip_px,
                                       const MarkOptions& options) {
  track::ArrowSighting sighting;
  sighting.frame = frame;
  sighting.t_s = t_s;
  const auto add = [&](const std::optional<Eigen::Vector2d>& at_px,
                       std::optional<track::EndPoint>& end) {
    if (at_px) {
      end = track::EndPoint{*at_px, options.sigma_px, false};
      sighting.centre.push_back({*at_px, options.sigma_px});
    }
  };
  add(nock_px, sighting.nock);
  add(tip_px, sighting.tip);
  return sighting;
}

track::Sweep sweep_of_marks(const std::vector<track::ArrowSighting>& marked, double length_m,
                            double focal_px, const Eigen::Vector2d& principal_px) {
  const Loosely loosely{length_m, focal_px, principal_px};
  const double from_s = marked.front().t_s;
  // Depth over speed at the first mark, and length over speed: from a slow arrow that is marked
  // late to a fast one before the camera.
  constexpr double kLeastRate = 2.0;
  constexpr double kMostRate = 120.0;
  constexpr int kRates = 70;
  constexpr double kLeastCover_s = 0.007;
  constexpr double kMostCover_s = 0.034;
  constexpr int kCovers = 30;
  Straight best;
  for (int i = 0; i <= kRates; ++i) {
    const double rate =
        kLeastRate * std::pow(kMostRate / kLeastRate, static_cast<double>(i) / kRates);
    for (int j = 0; j <= kCovers; ++j) {
      const double cover_s =
          kLeastCover_s * std::pow(kMostCover_s / kLeastCover_s, static_cast<double>(j) / kCovers);
      const Straight straight = straight_at(marked, from_s, rate, cover_s, loosely);
      if (straight.cost < best.cost) {
        best = straight;
      }
    }
  }
  const double distance_px = std::max(best.outward_px.norm(), 1e-3);
  track::Sweep sweep;
  sweep.vanishing_px = best.vanishing_px;
  sweep.outward = best.outward_px / distance_px;
  sweep.inverse_rate = best.rate / distance_px;
  sweep.inverse_start = 1.0 / distance_px - sweep.inverse_rate * from_s;
  sweep.cover_s = best.cover_s;
  sweep.frames = static_cast<int>(marked.size());
  return sweep;
}

std::optional<MarkedFlight> fit_marked(const std::vector<track::ArrowSighting>& marked,
                                       const track::Sweep& sweep,
                                       const std::optional<SeenExit>& exit,
                                       const flight::FitOptions& given, double focal_px,
                                       const Eigen::Vector2d& principal_px,
                                       const MarkOptions& options) {
  const flight::FitOptions fit_options = with_marks(given, exit, options);
  // The sweep is the nock's; the start wants the middle of the arrow.
  track::Sweep middle = sweep;
  middle.inverse_start += 0.5 * sweep.cover_s * sweep.inverse_rate;
  // Anchored about where the reading is asked for: the nock 2 m past a rest that the camera stands
  // its usual distance behind.
  const double forward_m = flight::kReferenceM + given.priors.camera_behind_m.mean;
  const double anchor_s =
      std::clamp(forward_m / kUsualSpeed - sweep.inverse_start / sweep.inverse_rate,
                 marked.front().t_s, marked.back().t_s);
  flight::FitOptions coarse = fit_options;
  coarse.coarse = true;
  flight::FlightFit fit = flight::fit_flight_from_several(
      marked, start_from(middle, given.priors, anchor_s, focal_px), flight::Spread::pitch, anchor_s,
      focal_px, principal_px, coarse);
  for (const flight::Spread spread : {flight::Spread::flex, flight::Spread::scale}) {
    if (!fit.converged) {
      return std::nullopt;
    }
    fit = flight::fit_flight_from_several(marked, fit.parameters, spread, anchor_s, focal_px,
                                          principal_px, fit_options);
  }
  if (!fit.converged) {
    return std::nullopt;
  }
  return with_stroke(std::move(fit), exit);
}

std::optional<MarkedFlight> fit_anew(const std::vector<track::ArrowSighting>& sightings,
                                     const flight::FlightFit& before,
                                     const std::optional<SeenExit>& exit,
                                     const flight::FitOptions& given, double focal_px,
                                     const MarkOptions& options) {
  flight::FlightFit fit = flight::fit_flight_from_several(
      sightings, before.parameters, flight::Spread::scale, before.anchor_s, focal_px,
      before.principal_px, with_marks(given, exit, options));
  if (!fit.converged) {
    return std::nullopt;
  }
  return with_stroke(std::move(fit), exit);
}

double freedom_of_marks(const flight::FlightFit& fit) {
  // Direction, place, distance and speed, offset and its change in two planes: the rest is held by
  // what is believed beforehand.
  constexpr double kTaken = 10.0;
  return std::max(3.0, fit.centre_points + fit.ends - kTaken);
}

}  // namespace nocktrail::pipeline
