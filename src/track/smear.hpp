// Geometry of an arrow that moves while the shutter is open. Private to the tracker.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "nocktrail/track/painted.hpp"
#include "shaft_common.hpp"

namespace nocktrail::track {

// Blur of an edge along the shaft within one instant: lens, codec, and what is left of the frames'
// misalignment. 1 sigma.
inline constexpr double kAlongSoftness_px = 1.3;

// Standard normal distribution function, from a table.
double normal_cdf(double x);

// Bars of one width (see shaft_common.hpp), from tables.
class Bars {
 public:
  Bars(double width, double softness);
  double even(double b) const { return at(even_, b < 0 ? -b : b); }
  double odd(double b) const { return b < 0 ? -at(odd_, -b) : at(odd_, b); }
  double reach() const { return reach_; }

 private:
  static constexpr double kStep = 1.0 / 32;
  double at(const std::vector<double>& table, double b) const {
    if (b >= reach_) {
      return 0.0;
    }
    const double c = b / kStep;
    const auto i = static_cast<std::size_t>(c);
    const double f = c - static_cast<double>(i);
    return (1 - f) * table[i] + f * table[i + 1];
  }
  double reach_;
  std::vector<double> even_;
  std::vector<double> odd_;
};

struct Pixel {
  double p = 0.0;  // along the expected chord, from the expected nock, px
  double q = 0.0;  // across it
  double difference = 0.0;
  double background = 0.0;
  double variance = 1.0;
};

// The arrow's chord at one instant of the exposure, in (p, q).
struct Chord {
  Eigen::Vector2d nock;
  Eigen::Vector2d along;
  double length = 1.0;
  double bow_steps_per_px = 0.0;
};

// A pixel against the bent shaft: `a` is where the shaft's point beside it would lie on the chord
// if the shaft were straight, `b` how far beside it the pixel is, px.
struct OnChord {
  double a = 0.0;
  double b = 0.0;
};

// The arrow's motion through one frame.
class Passage {
 public:
  explicit Passage(const ShaftProfile& profile);

  // Where the profile's centre line puts the chord.
  Eigen::Vector4d from_profile() const;
  Chord chord_at(const Eigen::Vector4d& off, double t_s) const;
  // In the innermost loops, hence here.
  OnChord on(const Chord& chord, const Pixel& pixel) const {
    const double x = pixel.p - chord.nock.x();
    const double y = pixel.q - chord.nock.y();
    OnChord on;
    on.a = x * chord.along.x() + y * chord.along.y();
    on.b = -x * chord.along.y() + y * chord.along.x();
    const double step = on.a * chord.bow_steps_per_px;
    on.a -= at_step(profile_->expected.slip_px, step);
    on.b -= at_step(profile_->expected.bow_px, step);
    return on;
  }
  // The chord at the instants that stand for the exposure.
  std::vector<Chord> chords(const Eigen::Vector4d& off, double exposure_s) const;
  // Pixels within `beside_px` of where the arrow passes during the exposure, and `beyond_px` of its
  // ends.
  std::vector<Pixel> pixels(const Region& region, const Eigen::Vector4d& off, double exposure_s,
                            double beyond_px, double beside_px) const;

  const ShaftProfile& profile() const { return *profile_; }
  double length() const { return length_; }
  double ratio() const { return profile_->expected.depth_ratio; }
  double width() const;

 private:
  const ShaftProfile* profile_;
  double length_;
  Eigen::Vector2d nock_velocity_;  // px/s in (p, q)
  Eigen::Vector2d tip_velocity_;
};

}  // namespace nocktrail::track
