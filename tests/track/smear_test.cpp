// How the picture of a moving arrow changes with where its ends are: the slopes that the least
// squares of place_painted go by, against central differences.
#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <vector>

#include "nocktrail/track/painted.hpp"
#include "shaft_common.hpp"
#include "smear.hpp"

using namespace nocktrail;

namespace {

// A bent shaft that leans in the picture and turns while it flies.
track::ShaftProfile bent_shaft() {
  track::ShaftProfile profile;
  profile.expected.nock_px = {320.0, 410.0};
  profile.expected.tip_px = {341.0, 325.0};
  profile.along = (profile.expected.tip_px - profile.expected.nock_px).normalized();
  profile.expected.nock_velocity_px_s = {300.0, -2600.0};
  profile.expected.tip_velocity_px_s = {-150.0, -1900.0};
  for (int i = 0; i <= 12; ++i) {
    const double share = i / 12.0;
    profile.expected.bow_px.push_back(7.0 * std::sin(3.1 * share) - 1.5 * share);
    profile.expected.slip_px.push_back(2.5 * share * share - 1.2 * share);
  }
  return profile;
}

}  // namespace

TEST_CASE("truth: a place on the chord changes as central differences say") {
  const track::ShaftProfile profile = bent_shaft();
  const track::Passage passage(profile);
  const Eigen::Vector4d off(1.3, -0.8, 0.6, -1.1);
  constexpr double kStep_px = 1e-4;
  int compared = 0;
  for (const double t_s : {-0.0007, 0.0004}) {
    const track::Chord chord = passage.chord_at(off, t_s);
    const std::array<track::Shift, 4> shifts = track::Passage::shifts_of(chord);
    // The middles of the bend's steps, and before the nock and beyond the tip.
    for (const double step : {-1.5, 0.5, 3.5, 7.5, 10.5, 13.5}) {
      for (const double beside_px : {-4.0, 0.3, 3.5}) {
        const Eigen::Vector2d across(-chord.along.y(), chord.along.x());
        const Eigen::Vector2d at =
            chord.nock + chord.along * (step / chord.bow_steps_per_px) + across * beside_px;
        track::Pixel pixel;
        pixel.p = at.x();
        pixel.q = at.y();
        const track::OnChord on = passage.on(chord, pixel);
        for (std::size_t k = 0; k < shifts.size(); ++k) {
          CAPTURE(t_s);
          CAPTURE(step);
          CAPTURE(k);
          Eigen::Vector4d up = off;
          Eigen::Vector4d down = off;
          up[static_cast<Eigen::Index>(k)] += kStep_px;
          down[static_cast<Eigen::Index>(k)] -= kStep_px;
          const track::Chord after = passage.chord_at(up, t_s);
          const track::Chord before = passage.chord_at(down, t_s);
          const track::OnChord on_after = passage.on(after, pixel);
          const track::OnChord on_before = passage.on(before, pixel);
          const Eigen::Vector2d change = track::Passage::change_of(chord, shifts[k], on);
          CHECK(change.x() ==
                doctest::Approx((on_after.a - on_before.a) / (2.0 * kStep_px)).epsilon(1e-6));
          CHECK(change.y() ==
                doctest::Approx((on_after.b - on_before.b) / (2.0 * kStep_px)).epsilon(1e-6));
          CHECK(shifts[k].longer_px ==
                doctest::Approx((after.length - before.length) / (2.0 * kStep_px)).epsilon(1e-6));
          ++compared;
        }
      }
    }
  }
  CHECK(compared == 144);
}

TEST_CASE("truth: the tables of a bar rise as the bar does") {
  constexpr double kWidth_px = 4.3;
  constexpr double kSoftness_px = 0.6;
  const track::Bars bars(kWidth_px, kSoftness_px);
  for (double b = -4.0; b <= 4.0; b += 0.37) {
    CAPTURE(b);
    CHECK(bars.even_slope(b) ==
          doctest::Approx(track::bar_slope(b, kWidth_px, kSoftness_px)).epsilon(0.02).scale(1.0));
    CHECK(bars.odd_slope(b) == doctest::Approx(track::tilted_bar_slope(b, kWidth_px, kSoftness_px))
                                   .epsilon(0.02)
                                   .scale(1.0));
  }
}
