// How the present set-up stands sideways, by shots and prior together. Private to the room.
#pragma once

#include <string>

#include "advice.hpp"

namespace nocktrail::tune {

struct Outcome {
  double weak = 0.0;  // chances at the present set-up
  double stiff = 0.0;
  double straight = 0.0;
  double negative = 0.0;
  double median_deg = 0.0;  // positive acts stiff
  double sd_deg = 0.0;
};

// `band`: the dead band, deg.
Outcome outcome_of(const Answer& answer, double band);

// The figures that a step rests on.
std::string reading_words(const Situation& situation, const Outcome& outcome);

// Whether the mean of more shots would settle it: not where what they share is too much already.
bool more_shots_help(const Pooled& here, const Outcome& outcome, double band);

// As many shots as bring the uncertainty down to what the margin asks; form where it is too many.
Step film_more(const Situation& situation, const Outcome& outcome);

inline constexpr const char* kOtherStiffer =
    " Other changes that can be undone and act stiffer: a heavier string or silencers (a slower "
    "bow).";

// Acts stiff: a heavier tip, a thinner plate, weaker shafts; never a cut.
Step heavier_tip(const Situation& situation, const Outcome& outcome, const Limits& limits);

// What can be undone and makes the arrow act stiffer: first what most likely is enough by itself,
// else, before a shaft is cut for the first time, a trial of the direction.
std::optional<Step> stiffer_without_a_cut(const Situation& situation, const Outcome& outcome,
                                          const Limits& limits, bool whatever_helps);

}  // namespace nocktrail::tune
