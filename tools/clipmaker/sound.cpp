#include "sound.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "rng.hpp"

namespace clipmaker {
namespace {

constexpr double kSpeedOfSound_mps = 340.0;

// A burst of noise that decays, low-passed: click when short and open, thud when long and closed.
void burst(std::vector<float>& out, double at_s, int rate, double level, double decay_s,
           double cutoff_hz, Rng& rng) {
  const double k = 1.0 - std::exp(-2.0 * std::numbers::pi * cutoff_hz / rate);
  double low = 0.0;
  const auto from = static_cast<long>(at_s * rate);
  const auto count = static_cast<long>(6.0 * decay_s * rate);
  for (long i = 0; i < count; ++i) {
    low += k * (rng.normal() - low);
    const long at = from + i;
    if (at >= 0 && at < static_cast<long>(out.size())) {
      const double t = static_cast<double>(i) / rate;
      out[static_cast<std::size_t>(at)] += static_cast<float>(
          level / std::sqrt(k) * low * std::exp(-t / decay_s) * std::min(1.0, t / 0.0004));
    }
  }
}

}  // namespace

Sound make_sound(const ClipSpec& spec, const std::vector<ArrowFlight>& flights) {
  Sound sound;
  const bool stretched =
      spec.picture.play_fps > 0.0 && std::abs(spec.picture.play_fps - spec.picture.fps) > 1e-6;
  if (!spec.sound.on || stretched) {
    return sound;  // slow motion is stored without sound
  }
  const int rate = sound.rate_hz;
  sound.mono.assign(static_cast<std::size_t>(spec.duration_s * rate), 0.0F);
  Rng rng = Rng::stream(spec.seed, 61);
  double gust = 0.0;
  for (std::size_t i = 0; i < sound.mono.size(); ++i) {
    gust += 0.004 * (rng.normal() - gust);
    sound.mono[i] =
        static_cast<float>(spec.sound.noise * rng.normal() + spec.sound.wind * 15.0 * gust);
  }
  const bool loosed = spec.kind == "shot" || spec.kind == "from-side" || spec.kind == "hidden" ||
                      spec.kind == "thirty-fps" || spec.kind == "side-view" || spec.kind == "cut";
  if (loosed) {
    for (const ArrowFlight& flight : flights) {
      const double ear = spec.camera.behind_m / kSpeedOfSound_mps;
      burst(sound.mono, flight.loose_s() + 0.005 + ear, rate, 0.12, 0.004, 6000.0, rng);
      burst(sound.mono, flight.exit_s() + ear, rate, 0.25, 0.012, 3000.0, rng);
      const double twang = flight.exit_s() + ear;
      const double hz = rng.uniform(90.0, 160.0);
      const auto from = static_cast<std::size_t>(std::max(twang, 0.0) * rate);
      for (std::size_t i = from; i < sound.mono.size(); ++i) {
        const double t = static_cast<double>(i - from) / rate;
        const double wave = std::sin(2.0 * std::numbers::pi * hz * t) +
                            0.5 * std::sin(4.02 * std::numbers::pi * hz * t);
        sound.mono[i] += static_cast<float>(0.12 * wave * std::exp(-t / 0.06));
      }
      if (flight.truth().impact_s > 0.0) {
        burst(sound.mono,
              flight.truth().impact_s +
                  (spec.range.butt_m + spec.camera.behind_m) / kSpeedOfSound_mps,
              rate, 0.12, 0.02, 700.0, rng);
      }
    }
  }
  for (float& s : sound.mono) {
    s = std::clamp(s, -0.98F, 0.98F);
  }
  return sound;
}

}  // namespace clipmaker
