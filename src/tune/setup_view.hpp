// A set-up as the rooms' own files pass it on: the facts with the hand settled, and what its shots
// say together.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/rules/cant.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/statistics.hpp"

namespace nocktrail::tune {

struct SetupView {
  SetupFacts facts;  // its hand is that of its clips where the set-up does not tell one
  SetupJudgement judgement;
  std::optional<Bow> against_hand;  // how it leans in the picture, where the hand told does not go
                                    // with that
  std::optional<Measured>
      denied_cant_deg;          // as the pictures show it, where the one told is not that
  bool views_disagree = false;  // up and down, from the side and from behind
};

// Every set-up of the record, in its order. `cautions` takes what concerns the session as a whole.
std::vector<SetupView> summarised(const SessionRecord& session, const JudgementOptions& options,
                                  std::vector<std::string>& cautions);

// Why a clip's shot of this number does not count: left out by the archer, counted in another clip
// that shows the same flight, or loosed with the other hand than the set-up's. Empty: it counts.
std::optional<std::string> why_dropped(const ClipRecord& clip, int number, Hand hand);

// Offsets in the frame of the bow turned by the cant that the pictures show instead of the one
// told; empty where the two agree.
std::optional<rules::BowFrameReading> as_pictured(const SetupView& setup, const Measured& lat_deg,
                                                  const Measured& vert_deg, double correlation);

// The value of a quantity in SI (spine: EI in N m^2); empty when not told.
std::optional<double> value_of(Quantity quantity, const SetupFacts& facts);

// Scatter from which form comes before tune, degrees. Common practice has no figure; this is twice
// the dead band.
inline constexpr double kLargeScatter_deg = 1.0;

// Of what is not known of the cant, the part of the variance that is the same in the session's
// other set-ups: the same bow, held anew. No source; half, as between not at all and wholly.
inline constexpr double kCantBetweenSetups = 0.5;

inline bool counted(const SetupView& setup) {
  return setup.judgement.lateral && setup.judgement.vertical;
}

}  // namespace nocktrail::tune
