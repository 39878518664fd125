#include "impact.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::pipeline {

ShotSounds sounds_of_a_shot(const media::Sound& sound) {
  track::LooseOptions options;
  options.least_knock = 3.0;
  options.most_knocks = 64;
  ShotSounds sounds;
  sounds.sharp_s = track::find_knocks(sound, options);
  constexpr double kDull_s = 0.0005;  // what is heard then lies at some 300 to 1000 Hz
  constexpr double kSame_s = 0.08;    // of one sound both kinds may be heard
  options.knock_mean_s = kDull_s;
  for (const double t : track::find_knocks(sound, options)) {
    if (std::none_of(sounds.sharp_s.begin(), sounds.sharp_s.end(),
                     [&](double sharp) { return std::abs(t - sharp) < kSame_s; })) {
      sounds.dull_s.push_back(t);
    }
  }
  return sounds;
}

std::optional<double> heard_in_the_air_s(const flight::FlightFit& fit, const flight::Stroke& stroke,
                                         double target_distance_m, const ShotSounds& sounds,
                                         const ImpactOptions& options) {
  // The loudest sharp one near the exit.
  const auto slap = std::find_if(sounds.sharp_s.begin(), sounds.sharp_s.end(), [&](double t) {
    return std::abs(t - stroke.exit_s) < options.slack_s;
  });
  if (slap == sounds.sharp_s.end()) {
    return std::nullopt;
  }
  const double speed_mps = std::exp(fit.parameters[flight::kLogSpeed]);
  const double length_m = std::exp(fit.parameters[flight::kLogLength]);
  const double way_m = target_distance_m + flight::kBraceHeightM - length_m;
  const double expected_s = way_m / speed_mps;
  const double log_speed_variance = fit.covariance(flight::kLogSpeed, flight::kLogSpeed);
  const double sigma = std::clamp(std::sqrt(std::max(log_speed_variance, 0.0)),
                                  options.least_speed_sigma, options.most_speed_sigma);
  const double window_s = options.window_sigmas * sigma * expected_s;
  std::optional<double> found;
  for (const std::vector<double>* kind : {&sounds.sharp_s, &sounds.dull_s}) {
    for (const double t : *kind) {
      const double in_the_air_s = t - *slap - target_distance_m / options.sound_mps;
      if (in_the_air_s <= 0.0 || std::abs(in_the_air_s - expected_s) > window_s) {
        continue;
      }
      if (found) {
        return std::nullopt;
      }
      found = in_the_air_s;
    }
  }
  return found;
}

flight::Flown flown_to_butt(const flight::FlightFit& fit, const flight::Stroke& stroke,
                            double target_distance_m, double in_the_air_s,
                            const ImpactOptions& options) {
  const double speed_mps = std::exp(fit.parameters[flight::kLogSpeed]);
  return {stroke.exit_s, stroke.exit_s + in_the_air_s, target_distance_m + flight::kBraceHeightM,
          std::hypot(options.distance_sigma * target_distance_m, options.brace_sigma_m,
                     speed_mps * options.timing_sigma_s)};
}

}  // namespace nocktrail::pipeline
