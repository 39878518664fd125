#include "shot_from_analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/flight/headline.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/units/units.hpp"
#include "why_refused.hpp"

namespace nocktrail::pipeline {
namespace {

std::vector<FrameObservation> observations(const ShotAnalysis& analysis) {
  std::vector<FrameObservation> frames;
  for (const track::ArrowSighting& sighting : analysis.sightings) {
    const auto k = static_cast<std::size_t>(sighting.frame);
    const Eigen::Matrix3d frame_from_reference =
        analysis.steadied.motion[k].reference_from_frame.inverse();
    FrameObservation frame;
    frame.index = static_cast<int>(analysis.frame_index[k]);
    frame.t_s = analysis.frame_t_s[k];
    frame.used = true;
    if (sighting.nock) {
      frame.nock_px = optics::apply_homography(frame_from_reference, sighting.nock->at_px);
    }
    if (sighting.tip) {
      frame.tip_px = optics::apply_homography(frame_from_reference, sighting.tip->at_px);
    }
    frames.push_back(frame);
  }
  return frames;
}

std::vector<FittedFrame> fitted(const ShotAnalysis& analysis, double rest_forward_m) {
  std::vector<FittedFrame> frames;
  const flight::FlightFit& fit = analysis.fit;
  const double focal = std::exp(fit.parameters[flight::kLogFocal]);
  const double last = analysis.sightings.back().t_s;
  for (std::size_t k = 0; k < analysis.frame_t_s.size(); ++k) {
    const double t = analysis.frame_t_s[k];
    if (t < analysis.stroke->exit_s || t > last) {
      continue;
    }
    // The rigid-body axis: bending is not what the eye should be shown here.
    flight::ArrowState<double> state = flight::state_of(fit, t);
    state.flex_right_m = 0.0;
    state.flex_down_m = 0.0;
    const Eigen::Vector3d nock = flight::shaft_point(state, 0.0, 0.0);
    const Eigen::Vector3d tip = flight::shaft_point(state, 1.0, 0.0);
    // Direction of flight now: the axis with the offset taken back.
    const Eigen::Vector3d flight_direction =
        (state.axis + state.right * state.nock_right_rad - state.down * state.nock_high_rad)
            .normalized();
    const Eigen::Vector3d straight_nock = tip - flight_direction * state.length_m;
    if (straight_nock.z() < 0.2 || nock.z() < 0.2 || tip.z() < 0.2) {
      continue;
    }
    const Eigen::Matrix3d& motion = analysis.steadied.motion[k].reference_from_frame;
    const Eigen::Matrix3d frame_from_reference = motion.inverse();
    FittedFrame frame;
    frame.index = static_cast<int>(analysis.frame_index[k]);
    frame.t_s = t;
    const auto seen = [&](const Eigen::Vector3d& point) {
      return optics::apply_homography(frame_from_reference,
                                      optics::project<double>(focal, fit.principal_px, point));
    };
    frame.nock_px = seen(nock);
    frame.tip_px = seen(tip);
    frame.straight_nock_px = seen(straight_nock);
    frame.nock_z_m =
        flight::nock_forward_m(fit.parameters, fit.principal_px, t - fit.anchor_s) - rest_forward_m;
    frame.reference_from_frame = motion;
    frames.push_back(frame);
  }
  return frames;
}

// The middle of the limb as fitted, upward over what was seen of it.
std::vector<Eigen::Vector2d> limb_curve(const ShotAnalysis& analysis) {
  const bow::Place place = bow::place_of(analysis.fit, *analysis.stroke);
  const double from_m = analysis.limb->edges.front().up_m;
  const double to_m = analysis.limb->edges.back().up_m;
  constexpr int kPieces = 8;
  std::vector<Eigen::Vector2d> curve;
  for (int i = 0; i <= kPieces; ++i) {
    const double up_m = from_m + (to_m - from_m) * i / kPieces;
    curve.push_back(optics::project<double>(
        place.focal_px, place.principal_px,
        bow::limb_point(place, analysis.limb->shape, up_m, bow::LimbOptions{}.half_length_m)));
  }
  return curve;
}

}  // namespace

Measured in_deg(const Measured& rad) {
  return {units::deg_from_rad(rad.value), units::deg_from_rad(rad.u95)};
}

std::optional<Flex> clear_flex(const Measured& hz, const Measured& amplitude_m, double sigmas) {
  constexpr double kClearSigmas = 4.0;
  constexpr double kMostHzU95 = 8.0;
  if (sigmas <= kClearSigmas || hz.u95 >= kMostHzU95) {
    return std::nullopt;
  }
  return Flex{hz, {amplitude_m.value * 1e3, amplitude_m.u95 * 1e3}};
}

Shot shot_from(const ShotAnalysis& analysis, const media::ClipInfo& info,
               const RefusalOptions& options) {
  if (analysis.side) {
    return side_shot_from(analysis, info);
  }
  const flight::Stroke& stroke = *analysis.stroke;
  flight::Headline headline =
      flight::headline_at(analysis.fit, stroke.rest_forward_m, stroke.rest_sigma_m,
                          flight::kReferenceM, analysis.freedom);
  for (const OffsetScatter& scatter : {analysis.scatter, analysis.apart}) {
    const auto widen = [](Measured& measured, double sigma) {
      measured.u95 = std::hypot(measured.u95, kTwoSided95 * sigma);
    };
    widen(headline.right_rad, scatter.right_rad);
    widen(headline.high_rad, scatter.high_rad);
    widen(headline.speed_mps, scatter.speed_mps);
  }
  Shot shot;
  shot.by = analysis.by;
  shot.loose_s = stroke.loose_s;
  shot.exit_s = stroke.exit_s;
  shot.frames = observations(analysis);
  shot.fitted = fitted(analysis, stroke.rest_forward_m);
  shot.reference_index = static_cast<int>(analysis.frame_index[analysis.steadied.reference]);
  shot.reason = why_refused(analysis, headline, options, info.capture_fps_source);
  if (!shot.reason.empty()) {
    shot.status = ShotStatus::refused;
    return shot;
  }
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = in_deg(headline.right_rad);
  shot.nock_high_deg = in_deg(headline.high_rad);
  shot.nock_right_slope_deg_per_m = in_deg(headline.right_rate);
  shot.nock_high_slope_deg_per_m = in_deg(headline.high_rate);
  shot.right_high_correlation = headline.correlation;
  shot.shared =
      SharedError{units::deg_from_rad(headline.shared_right_u95_rad),
                  units::deg_from_rad(headline.shared_high_u95_rad), headline.shared_correlation};
  shot.filmed_from = analysis.filmed_from;
  shot.speed_mps = headline.speed_mps;
  if (analysis.limb) {
    // The flight says where plumb is; with its roll the cant against plumb turns.
    const double roll_variance = analysis.fit.covariance(flight::kRoll, flight::kRoll);
    const double sigma =
        std::hypot(analysis.limb->cant_sigma_rad, std::sqrt(std::max(roll_variance, 0.0)));
    shot.cant_seen_deg = in_deg({analysis.limb->shape.cant_rad, kTwoSided95 * sigma});
    if (!analysis.limb->drawn) {
      shot.limb_px = limb_curve(analysis);
    }
  }
  shot.flex = clear_flex(headline.flex_hz, headline.flex_amplitude_m, headline.flex_sigmas);
  return shot;
}

}  // namespace nocktrail::pipeline
