// Random numbers that are the same on every platform: splitmix64 and Box-Muller, nothing of the
// standard library's distributions (whose output is not specified).
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace clipmaker {

class Rng {
 public:
  explicit Rng(std::uint64_t seed) : state_(seed) {}

  // A generator for one purpose of one clip, independent of how often any other one was asked.
  static Rng stream(std::uint64_t seed, std::uint64_t purpose) {
    Rng mixer(seed * 0x9E3779B97F4A7C15ULL + purpose * 0xD1B54A32D192ED03ULL +
              0x632BE59BD9B4E019ULL);
    mixer.bits();
    return Rng(mixer.bits());
  }

  std::uint64_t bits() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31U);
  }
  double unit() { return static_cast<double>(bits() >> 11U) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * unit(); }
  // Uniform in the logarithm: for quantities that span a range by factors.
  double log_uniform(double low, double high) {
    return std::exp(uniform(std::log(low), std::log(high)));
  }
  int below(int n) { return static_cast<int>(unit() * n); }
  bool chance(double probability) { return unit() < probability; }
  double normal() {
    const double u = 1.0 - unit();
    const double v = unit();
    return std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * v);
  }

 private:
  std::uint64_t state_;
};

}  // namespace clipmaker
