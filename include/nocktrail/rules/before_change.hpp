// What comes before anything is changed: a reading that must not be shot again, the hand, the cant,
// enough shots. One shot, a set-up and a session ask the same questions here, in the same order,
// so that none of them proposes what another would not. Common practice, no source.
#pragma once

#include <optional>
#include <string>

#include "nocktrail/reading.hpp"
#include "nocktrail/rules/cant.hpp"

namespace nocktrail::rules {

// A cant that was told where the pictures show another.
struct DeniedCant {
  double told_deg = 0.0;
  Measured seen_deg;
  BowFrameReading as_pictured;  // the offsets turned by `seen_deg`
};

// What the shots of one set-up say together, in the frame of the bow.
struct Evidence {
  int shots = 0;    // that count
  int refused = 0;  // clips without a number
  std::optional<Measured> lat_deg;
  std::optional<Measured> vert_deg;
  bool hangs_on_cant = false;  // see hangs_on_cant()
  Hand hand = Hand::unknown;
  // The hand that was told where the picture speaks against it (against_hand): `hand` is unknown
  // then, and this is how the bow leans.
  std::optional<Bow> at_odds;
  // Asked about where what is to be done hangs on which of the two cants is right.
  std::optional<DeniedCant> denied_cant;
  bool fletched = false;  // known to be
  bool bare = false;      // likewise; where neither is known the careful case holds
  double dead_band_deg = 0.5;
  // How the hand and the cant are told here: "--hand right or --hand left", "--cant DEG".
  std::string how_to_tell_hand;
  std::string how_to_tell_cant;
};

struct Asked {
  StepKind step = StepKind::none;
  double amount = 0.0;  // shots, of film_more
  std::string words;    // what to do, sentences
  std::string because;  // one or two sentences
};

inline constexpr int kFewestShots = 3;      // before anything is changed
inline constexpr int kFewestBeforeCut = 4;  // that agree
// To begin a set-up with: far outside the dead band they decide, and more are asked for where they
// do not.
inline constexpr int kUsualShots = 4;

// Empty when a change may be thought of.
std::optional<Asked> before_change(const Evidence& evidence);

// Whether an arrow that trails so is not to be shot again (safety.hpp).
bool too_far(double lat_deg, double vert_deg, bool fletched);

// A shot that was refused because its arrow stands across its flight: not to be shot again either.
bool stands_across(const Shot& shot);

// A shaft that trails too far to be shot again; empty when it does not.
std::optional<Asked> stop_for_mismatch(const Evidence& evidence);

// Whether the cant, where nobody told or saw it, decides about the nocking point: the interval that
// the cant alone leaves of the vertical offset lies neither inside the dead band nor beyond it on
// one side. `right_deg` and `high_deg` are in the range frame.
bool hangs_on_cant(double right_deg, double high_deg, const Bow& bow, double dead_band_deg);

}  // namespace nocktrail::rules
