#include "flight_start.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::pipeline {
namespace {

// The sensor's row axis in display pixels, see FitOptions::readout_per_px. Rows of the stored
// picture run downward; the container mirrors left to right, then turns clockwise.
Eigen::Vector2d readout_axis(const media::ClipInfo& info) {
  Eigen::Vector2d down(0.0, 1.0);
  for (int turned = 0; turned < info.orientation.rotation_deg; turned += 90) {
    down = Eigen::Vector2d(-down.y(), down.x());
  }
  return down / std::max(1, info.stored_height);
}

}  // namespace

flight::FitOptions fit_options(const media::ClipInfo& info, const AnalysisOptions& options,
                               double frame_s) {
  flight::FitOptions fit;
  fit.priors.focal_relative_sigma = options.focal_relative_sigma;
  if (options.arrow_length_m) {
    fit.priors.length_m = {*options.arrow_length_m, 0.004};
  }
  if (options.speed_mps) {
    constexpr double kTold = 0.01;  // a chronograph's, and where along the flight it stood
    fit.priors.log_speed = {std::log(*options.speed_mps), kTold};
  }
  // A sensor reads out within a frame; phones use between a tenth and all of it.
  const double longest = std::min(0.95 * frame_s, 0.016);
  fit.priors.readout_s = {0.45 * longest, 0.35 * longest};
  fit.readout_per_px = readout_axis(info);
  return fit;
}

flight::Parameters start_from(const track::Sweep& sweep, const flight::FlightPriors& priors,
                              double anchor_s, double focal_px) {
  flight::Parameters p = flight::Parameters::Zero();
  const double speed = std::clamp(priors.length_m.mean / std::max(sweep.cover_s, 1e-3), 42.0, 64.0);
  const double h = speed / sweep.v_per_h(focal_px);
  const double inverse = sweep.inverse_start + sweep.inverse_rate * anchor_s;
  const Eigen::Vector2d centre = sweep.vanishing_px + sweep.outward / inverse;
  p[flight::kVanishX] = sweep.vanishing_px.x();
  p[flight::kVanishY] = sweep.vanishing_px.y();
  p[flight::kCentreX] = centre.x();
  p[flight::kCentreY] = centre.y();
  p[flight::kLogDepth] = std::log(focal_px * h * inverse);
  p[flight::kLogSpeed] = std::log(speed);
  p[flight::kLogLength] = std::log(priors.length_m.mean);
  p[flight::kLogFocal] = std::log(focal_px);
  p[flight::kReadout] = priors.readout_s.mean;
  p[flight::kLogWave] = priors.log_wave.mean;
  p[flight::kDamping] = priors.damping.mean;
  p[flight::kLift] = priors.lift_m.mean;
  p[flight::kDrag] = priors.drag_mps2.mean;
  p[flight::kFlexHz] = priors.flex_hz.mean;
  p[flight::kFlexDecay] = priors.flex_decay.mean;
  p[flight::kTipMass] = priors.tip_mass_ratio.mean;
  p[flight::kMiddle] = priors.middle_m.mean;
  return p;
}

}  // namespace nocktrail::pipeline
