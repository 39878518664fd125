// What an arrow that trailed too far forbids from then on.
#include <fmt/format.h>

#include <algorithm>
#include <boost/algorithm/string/case_conv.hpp>
#include <boost/algorithm/string/trim.hpp>
#include <cmath>
#include <locale>

#include "advice.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "priors.hpp"

namespace nocktrail::tune {
namespace {

struct Offset {
  std::optional<Measured> lat_deg;  // empty: of a shot from the side
  Measured vert_deg;

  double sideways_deg() const { return lat_deg ? lat_deg->value : 0.0; }
  double in_all_deg() const { return std::hypot(sideways_deg(), vert_deg.value); }
};

bool fletched(const SetupFacts& facts) {
  return facts.arrow.fletching == Fletching::fletched;
}

// The set-up's shot that trailed furthest, beyond what may be shot again. One is enough: it is not
// weighed against the others.
std::optional<Offset> furthest(const SetupView& setup) {
  std::optional<Offset> worst;
  const auto look_at = [&](const Offset& offset) {
    if (rules::too_far(offset.sideways_deg(), offset.vert_deg.value, fletched(setup.facts)) &&
        (!worst || offset.in_all_deg() > worst->in_all_deg())) {
      worst = offset;
    }
  };
  for (const JudgedShot& shot : setup.judgement.shots) {
    if (!shot.dropped) {
      look_at({shot.lat_deg, shot.vert_deg});
    }
  }
  for (const SideShot& shot : setup.judgement.side_shots) {
    if (!shot.dropped) {
      look_at({std::nullopt, shot.vert_deg.value_or(shot.high_deg)});
    }
  }
  return worst;
}

// A pound more acts weaker by half a degree (common practice, no source; the other sizes are those
// of priors.hpp).
constexpr double kPerDrawWeight_deg_per_n = 0.5 / units::kNewtonsPerPoundForce;

// What was changed from one set-up to the other, in usual steps; nothing where it is not known both
// times.
Place changed(const SetupFacts& then, const SetupFacts& now) {
  Place place;
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const auto quantity = static_cast<Quantity>(q);
    const auto was = value_of(quantity, then);
    const auto is = value_of(quantity, now);
    place.at[q] = was && is ? (*is - *was) / usual_step(quantity) : 0.0;
  }
  return place;
}

// What is left of an offset after a change that took so much off it, on whichever side.
double left_of(double offset_deg, double taken_deg) {
  return std::abs(std::abs(offset_deg) - taken_deg);
}

// The hand with which it trailed; where that was not told, the one told since.
Hand hand_of(const SetupFacts& then, const SetupFacts& now) {
  return then.hand != Hand::unknown ? then.hand : now.hand;
}

// Whether what was changed since has probably brought the shaft back inside, as changes usually
// answer: toward straight, and far enough. With the hand unknown either way counts as toward.
bool mended(const SetupFacts& then, const SetupFacts& now, const Offset& trailed,
            bool with_feathers) {
  const double stiffer = usually_stiffer_deg(then, now);
  const Hand hand = hand_of(then, now);
  const double toward = hand == Hand::unknown                             ? std::abs(stiffer)
                        : stiff_sign(hand) * trailed.sideways_deg() < 0.0 ? stiffer
                                                                          : -stiffer;
  const double raised = practice_offset_deg(changed(then, now), true);
  const double level = trailed.vert_deg.value > 0.0 ? -raised : raised;
  constexpr double kNothing_deg = 1e-6;
  return (toward > kNothing_deg || level > kNothing_deg) &&
         !rules::too_far(left_of(trailed.sideways_deg(), toward),
                         left_of(trailed.vert_deg.value, level), with_feathers);
}

// Shafts of another name, of whose stiffness nothing can be compared, are others. Telling a name
// that was not told before makes no other shaft.
bool may_be_same_shaft(const SetupFacts& then, const SetupFacts& now) {
  return !other_name(then.arrow.name, now.arrow.name) ||
         (value_of(Quantity::spine, then) && value_of(Quantity::spine, now));
}

// Whether something that was known both times was changed; feathers on or off are no change of the
// shaft, and a fact that is told for the first time is none at all.
bool changed_since(const SetupFacts& then, const SetupFacts& now) {
  const auto differ = [](const std::optional<double>& a, const std::optional<double>& b) {
    constexpr double kAlike = 1e-3;
    return a && b && std::abs(*a - *b) > kAlike * std::max(std::abs(*a), std::abs(*b));
  };
  if (another_shaft(then, now) || other_name(then.bow.name, now.bow.name) ||
      other_name(then.bow.string, now.bow.string) ||
      differ(then.bow.string_mass_kg, now.bow.string_mass_kg) ||
      differ(then.bow.draw_weight_n, now.bow.draw_weight_n) || differ(then.draw_m, now.draw_m)) {
    return true;
  }
  for (std::size_t q = 0; q < kQuantities; ++q) {
    const auto quantity = static_cast<Quantity>(q);
    if (differ(value_of(quantity, then), value_of(quantity, now))) {
      return true;
    }
  }
  return false;
}

std::optional<rules::Asked> stop_for(const Offset& offset, const SetupFacts& facts) {
  rules::Evidence evidence;
  evidence.lat_deg = offset.lat_deg;
  evidence.vert_deg = offset.vert_deg;
  evidence.bare = facts.arrow.fletching == Fletching::bare;
  evidence.fletched = fletched(facts);
  return rules::stop_for_mismatch(evidence);
}

struct Trailed {
  const SetupView* setup;
  Offset offset;

  bool by_height() const {
    return std::abs(offset.vert_deg.value) > std::abs(offset.sideways_deg());
  }
};

// What the same shaft may still do with feathers, which hide so much of what it does without.
Offset with_feathers(const SetupFacts& then, const Offset& trailed) {
  if (then.arrow.fletching != Fletching::bare || !trailed.lat_deg) {
    return trailed;
  }
  Offset less = trailed;
  const double lat_deg = trailed.lat_deg->value;
  less.lat_deg->value =
      std::copysign(std::max(std::abs(lat_deg) - rules::kFeathersHide_deg, 0.0), lat_deg);
  return less;
}

// The latest set-up in which this shaft trailed too far, with nothing done about it since. What a
// shaft did without feathers forbids it with them only where they do not hide enough of it;
// `bare_ones` asks for what forbids it bare.
std::optional<Trailed> still_too_far(const Situation& situation, bool bare_ones) {
  const SetupFacts& now = situation.now().facts;
  for (std::size_t i = situation.latest + 1; i-- > 0;) {
    const SetupView& setup = situation.setups[i];
    const auto worst = furthest(setup);
    if (!worst || !may_be_same_shaft(setup.facts, now)) {
      continue;
    }
    const Offset offset = bare_ones ? *worst : with_feathers(setup.facts, *worst);
    const bool forbids_now =
        bare_ones || rules::too_far(offset.sideways_deg(), offset.vert_deg.value, true);
    if (forbids_now && !mended(setup.facts, now, offset, !bare_ones)) {
      return Trailed{&setup, *worst};
    }
  }
  return std::nullopt;
}

Step stop_across(const std::string& where) {
  Step step;
  step.kind = StepKind::do_not_shoot_arrow;
  step.words =
      std::string(rules::kStopAcross) +
      " If the still shows that something else was taken for the arrow, leave the clip out.";
  step.because = fmt::format("In {}.", where);
  return step;
}

// Shot again with something else changed, and inside: that is what it does now.
bool inside_now(const SetupView& then, const SetupView& now) {
  return now.judgement.counted >= rules::kFewestShots && !furthest(now) &&
         now.judgement.across.empty() && changed_since(then.facts, now.facts);
}

// By how far it stood across its flight nobody knows, so nor what would mend it: another shaft, or
// something changed and shot inside since.
std::optional<Step> still_across(const Situation& situation) {
  const SetupView& now = situation.now();
  for (std::size_t i = situation.latest + 1; i-- > 0;) {
    const SetupView& setup = situation.setups[i];
    const auto was = value_of(Quantity::spine, setup.facts);
    const auto is = value_of(Quantity::spine, now.facts);
    constexpr double kSameSpine = 0.05;
    const bool other = another_shaft(setup.facts, now.facts) ||
                       (was && is && std::abs(*was - *is) > kSameSpine * *was);
    if (!setup.judgement.across.empty() && !other && !inside_now(setup, now)) {
      Step step = stop_across(setup.judgement.across);
      if (&setup != &now) {
        step.because += " Nothing done since shows that it flies straight now.";
      }
      return step;
    }
  }
  return std::nullopt;
}

}  // namespace

double usually_stiffer_deg(const SetupFacts& then, const SetupFacts& now) {
  const auto& was_n = then.bow.draw_weight_n;
  const auto& is_n = now.bow.draw_weight_n;
  return practice_offset_deg(changed(then, now), false) -
         (was_n && is_n ? kPerDrawWeight_deg_per_n * (*is_n - *was_n) : 0.0);
}

std::string plain_name(std::string_view name) {
  std::string plain(name);
  boost::algorithm::trim(plain);
  boost::algorithm::to_lower(plain, std::locale::classic());
  return plain;
}

bool other_name(std::string_view one, std::string_view other) {
  const std::string a = plain_name(one);
  const std::string b = plain_name(other);
  return !a.empty() && !b.empty() && a != b;
}

std::optional<Step> mismatch_step(const Situation& situation) {
  const SetupView& now = situation.now();
  if (auto step = still_across(situation)) {
    return step;
  }
  const auto trailed = still_too_far(situation, !fletched(now.facts));
  if (!trailed || inside_now(*trailed->setup, now)) {
    return std::nullopt;
  }
  const SetupFacts& then = trailed->setup->facts;
  const auto asked = stop_for(trailed->offset, then);
  Step step;
  step.kind = asked->step;
  step.words = asked->words;
  step.because = asked->because;
  const double lat_deg = trailed->offset.sideways_deg();
  const Hand hand = hand_of(then, now.facts);
  const bool sideways = !trailed->by_height();
  const bool past_straight =
      sideways && hand != Hand::unknown &&
      (stiff_sign(hand) * lat_deg < 0.0 ? 1.0 : -1.0) * usually_stiffer_deg(then, now.facts) >
          std::abs(lat_deg);
  if (past_straight) {
    step.because += fmt::format(
        " That was in {}; what was changed since is so much that it would usually trail as far on "
        "the other side.",
        rules::printable(trailed->setup->judgement.name));
    return step;
  }
  // One shot among several that say otherwise forbids, but does not say which shafts are wanted.
  const SetupJudgement& where = trailed->setup->judgement;
  const bool alone = where.counted >= rules::kFewestBeforeCut && where.lateral &&
                     std::abs(where.lateral->mean_deg) < rules::kFeathersHide_deg &&
                     std::abs(lat_deg - where.lateral->mean_deg) > rules::kFeathersHide_deg;
  // Told one hand then and the other now, one of them is wrong.
  const bool hands_agree = now.facts.hand == hand && hand != Hand::unknown;
  if (alone) {
    step.words +=
        " The other shots of that set-up do not do so: look for the cause of this one, and leave "
        "it out only where that was found and mended.";
  } else if (hands_agree && sideways) {
    const bool weak = stiff_sign(hand) * lat_deg < 0.0;
    step.words +=
        fmt::format(" It acts {}: {} ones.", weak ? "weak" : "stiff", weak ? "stiffer" : "weaker");
    if (!weak) {
      step.words += least_mass_words(now.facts);
    }
  }
  if (trailed->setup != &now) {
    step.because += fmt::format(" That was in {}, and nothing done since brings it back.",
                                rules::printable(trailed->setup->judgement.name));
  }
  return step;
}

std::optional<Step> stop_standing_in(const SetupView& setup) {
  const std::string where = rules::printable(setup.judgement.name);
  if (!setup.judgement.across.empty()) {
    return stop_across(setup.judgement.across);
  }
  const auto worst = furthest(setup);
  const auto asked = worst ? stop_for(*worst, setup.facts) : std::nullopt;
  if (!asked) {
    return std::nullopt;
  }
  Step step;
  step.kind = asked->step;
  step.words = asked->words +
               " No set is built to it while that shot counts: leave the shot out only where its "
               "cause was found and mended.";
  step.because = fmt::format("{} That was in {}.", asked->because, where);
  return step;
}

std::optional<Step> stop_standing_bare(const Situation& situation, const SetupView& bare) {
  const auto trailed = still_too_far(situation, true);
  return trailed && !inside_now(*trailed->setup, bare) ? stop_standing_in(*trailed->setup)
                                                       : std::nullopt;
}

std::vector<std::string> stops_of(const SetupView& setup) {
  std::vector<std::string> stops = stop_texts(setup.facts);
  if (const auto worst = furthest(setup)) {
    if (const auto asked = stop_for(*worst, setup.facts)) {
      stops.push_back(asked->words);
    }
  }
  if (!setup.judgement.across.empty()) {
    stops.push_back(fmt::format("{} In {}.", rules::kStopAcross, setup.judgement.across));
  }
  return stops;
}

std::optional<Step> level_before_bare(const Situation& situation) {
  const auto trailed = still_too_far(situation, true);
  if (!trailed || !trailed->by_height()) {
    return std::nullopt;
  }
  Step step;
  step.kind = StepKind::look_for_cause;
  step.words =
      "Do not shoot this shaft bare yet: bare it trailed too far up or down. Bring the nocking "
      "point right with fletched arrows first, or look for what holds the nock so: contact with "
      "the shelf, a tight nock, an uneven pull of the fingers.";
  step.because = fmt::format("Bare it read {} in {}, and nothing done since brings it back.",
                             rules::vertical_words(trailed->offset.vert_deg),
                             rules::printable(trailed->setup->judgement.name));
  return step;
}

std::optional<Step> instead_of_bare(const Situation& situation, const Measured& fletched_deg) {
  const SetupFacts& facts = situation.now().facts;
  const double stiffer_deg = stiff_sign(facts.hand) * fletched_deg.value;
  auto trailed = still_too_far(situation, true);
  if (trailed && trailed->by_height()) {
    trailed.reset();  // the height tells nothing of spine: see level_before_bare
  }
  // Bare it may act weaker by as much as feathers hide.
  const bool too_weak = stiffer_deg < -(rules::kStopSideways_deg - rules::kFeathersHide_deg);
  const bool too_stiff = stiffer_deg > rules::kStopSideways_deg;
  if (!trailed && !too_weak && !too_stiff) {
    return std::nullopt;
  }
  const bool weak =
      trailed ? stiff_sign(facts.hand) * trailed->offset.sideways_deg() < 0.0 : too_weak;
  Step step;
  step.kind = weak ? StepKind::stiffer_shaft : StepKind::weaker_shaft;
  step.words = fmt::format(
      "Do not shoot this shaft bare. Try fletched arrows on shafts {} spine group{} {}, {}, and go "
      "on from there.",
      trailed ? "two" : "one", trailed ? "s" : "", weak ? "stiffer" : "weaker",
      how_long_others(facts));
  step.because =
      trailed
          ? fmt::format(
                "{} it trailed too far for a bare shaft (common practice: beyond {:g} deg it may "
                "break): {}.",
                fletched(trailed->setup->facts) ? "Fletched" : "Bare", rules::kStopSideways_deg,
                trailed->offset.lat_deg ? rules::lateral_words(*trailed->offset.lat_deg)
                                        : rules::vertical_words(trailed->offset.vert_deg))
          : fmt::format(
                "Fletched it reads {}; {}beyond {:g} deg a bare one may break (common practice).",
                rules::lateral_words(fletched_deg),
                weak ? fmt::format("feathers hide up to {:g} deg of a weak shaft, and ",
                                   rules::kFeathersHide_deg)
                     : "bare it would trail no less, and ",
                rules::kStopSideways_deg);
  if (!weak) {
    step.words += least_mass_words(facts);
  }
  return step;
}

}  // namespace nocktrail::tune
