// How the bow stood, as far as somebody told or saw it, and readings turned into its frame.
#pragma once

#include <optional>

#include "nocktrail/reading.hpp"

namespace nocktrail::rules {

// Standard deviations and means, degrees. Common practice, no source: archers who cant do so
// toward their string hand's side, by 5 to 30 deg; others hold the bow upright.
struct CantPrior {
  double told_sd_deg = 3.0;  // an angle told by eye
  // Not told: the upper limb leans to the right of a right-handed archer, to the left of a
  // left-handed one, by this much and by so little certain.
  double lean_deg = 10.0;
  double lean_sd_deg = 10.0;
  double either_sd_deg = 15.0;  // about upright, when the hand is not known either
};

// The bow as told, else as the picture shows it, else as assumed for the hand.
Bow bow_as_known(Hand hand, const std::optional<double>& told_cant_deg,
                 const std::optional<Measured>& seen_cant_deg, const CantPrior& prior = {});

// Whether a told cant and the one in the picture differ by more than their intervals allow.
bool at_odds(const Bow& told, const std::optional<Measured>& seen_cant_deg);

// Whether a told cant leans by more than its uncertainty to the side that does not go with the
// hand: a slip of the sign, more often than not.
bool leans_the_other_way(const Bow& bow);

// Whether the picture shows the bow lean to the side that does not go with the hand told: a
// mirrored picture, the wrong hand told, an arrow shot from the other side of the bow, or an archer
// who leans it so. Weak and stiff change places between them.
bool hand_at_odds(const Bow& bow);

// The bow as the picture shows it where that speaks against the hand told: hand_at_odds, also where
// a cant was told with which the picture does not go. Else empty.
std::optional<Bow> against_hand(const Bow& bow, const std::optional<Measured>& seen_cant_deg);

// A reading turned into the frame of the bow.
struct BowFrameReading {
  Measured lat_deg;   // positive: nock to the right, square to the bow
  Measured vert_deg;  // positive: nock high, along the bow
  double correlation = 0.0;
};

// Inverts, for cant c,
//   nock_right =  lat cos c + vert sin c
//   nock_high  = -lat sin c + vert cos c
// and carries the covariance of (nock_right, nock_high) along: C_bow = R' C R. `correlation` is
// that of the errors of the two, in [-1, 1]; values beyond are brought back to the nearer end.
BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, double cant_deg);

// The same with a cant that is itself uncertain, normal and independent of the reading. The values
// are those at the cant's own value; the spreads are the root mean squares about them, exact for
// any width by the moments of cos and sin of a normal angle (E cos c = exp(-s^2/2) cos m,
// E cos 2c = exp(-2 s^2) cos 2m; K. V. Mardia and P. E. Jupp, Directional Statistics, 2000, 3.4.2:
// from memory).
BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, const Measured& cant_deg);

// Half the 95 % interval of what the cant alone leaves open of the two bow-frame offsets.
BowFrameReading cant_alone(double nock_right_deg, double nock_high_deg, const Measured& cant_deg);

}  // namespace nocktrail::rules
