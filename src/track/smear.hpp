// Geometry of an arrow that moves while the shutter is open. Private to the tracker.
#pragma once

#include <Eigen/Core>
#include <array>
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
  // Their rise toward the + side, a px.
  double even_slope(double b) const { return b < 0 ? -slope_at(even_, -b) : slope_at(even_, b); }
  double odd_slope(double b) const { return slope_at(odd_, b < 0 ? -b : b); }
  double reach() const { return reach_; }

 private:
  static constexpr double kStep = 1.0 / 32;
  double at(const std::vector<double>& table, double b) const {
    if (b >= reach_) {
      return 0.0;
    }
    const double c = b / kStep;
    const auto i = static_cast<int>(c);  // converts faster than an unsigned one
    const double f = c - i;
    const double* const value = table.data() + i;
    return (1 - f) * value[0] + f * value[1];
  }
  double slope_at(const std::vector<double>& table, double b) const {
    if (b >= reach_) {
      return 0.0;
    }
    const double* const value = table.data() + static_cast<int>(b / kStep);
    return (value[1] - value[0]) / kStep;
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
  AtStep slip;  // what the bend takes from a and from b
  AtStep bow;
};

// How the place on a chord changes with one of the four offsets of the chord's ends (those of
// PaintedPlace): the chord moves and turns, and its length changes. All of a px of the offset.
struct Shift {
  double a_px = 0.0;
  double b_px = 0.0;
  double turn_rad = 0.0;
  double longer_px = 0.0;
};

// The arrow's motion through one frame.
class Passage {
 public:
  explicit Passage(const ShaftProfile& profile);

  // Where the profile's centre line puts the chord.
  Eigen::Vector4d from_profile() const;
  Chord chord_at(const Eigen::Vector4d& off, double t_s) const;
  static std::array<Shift, 4> shifts_of(const Chord& chord);
  // In the innermost loops, hence here.
  OnChord on(const Chord& chord, const Pixel& pixel) const {
    const double x = pixel.p - chord.nock.x();
    const double y = pixel.q - chord.nock.y();
    OnChord on;
    on.a = x * chord.along.x() + y * chord.along.y();
    on.b = -x * chord.along.y() + y * chord.along.x();
    const double step = on.a * chord.bow_steps_per_px;
    on.slip = at_step(profile_->expected.slip_px, step);
    on.bow = at_step(profile_->expected.bow_px, step);
    on.a -= on.slip.off_px;
    on.b -= on.bow.off_px;
    return on;
  }
  // What a shift changes a place on the chord by: a and b.
  static Eigen::Vector2d change_of(const Chord& chord, const Shift& shift, const OnChord& on) {
    const double a = on.a + on.slip.off_px;  // if the shaft were straight
    const double b = on.b + on.bow.off_px;
    const double along = shift.a_px + shift.turn_rad * b;
    const double across = shift.b_px - shift.turn_rad * a;
    const double steps = chord.bow_steps_per_px * (along - a * shift.longer_px / chord.length);
    return {along - on.slip.slope_px * steps, across - on.bow.slope_px * steps};
  }
  // The chord at the instants that stand for the exposure, so far apart at most (but for very long
  // ones); twice that far is enough to find about where the arrow is.
  static constexpr double kApart_px = 1.5;
  std::vector<Chord> chords(const Eigen::Vector4d& off, double exposure_s,
                            double apart_px = kApart_px) const;
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
