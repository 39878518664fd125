#include "nocktrail/arrow/limits.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/power_stroke.hpp"

namespace nocktrail::arrow {
namespace {

using units::kKilogramsPerGrain;
using units::kMetresPerInch;
using units::kNewtonsPerPoundForce;

constexpr double kRounding_m = 1e-6;
constexpr double kRounding = 1e-9;  // of forces and masses, as a share

double inches(double length_m) {
  return length_m / kMetresPerInch;
}

double pounds(double force_n) {
  return force_n / kNewtonsPerPoundForce;
}

// Upwards to whole grains: what is said to suffice must suffice.
double enough_grains(double mass_kg) {
  return std::ceil(mass_kg / kKilogramsPerGrain - 1e-6);
}

const char* held_words(const LimitFacts& facts) {
  return facts.held_as_marked ? "marked (what is held hangs on the draw length)" : "held";
}

void add_mass(const LimitFacts& facts, std::vector<Caution>& found) {
  const std::optional<double> least_kg = lightest_kg(facts);
  if (!facts.arrow_mass_kg || !least_kg) {
    return;
  }
  const double heaviest_kg = *facts.arrow_mass_kg + facts.arrow_mass_slack_kg;
  const double gpp = grains_per_pound(heaviest_kg, *facts.held_n);
  const double maker = facts.min_grains_per_pound.value_or(0.0);
  if (heaviest_kg < *least_kg * (1.0 - kRounding)) {
    const bool by_maker = maker > kLeastGrainsPerPound;
    Caution caution{by_maker ? CautionKind::below_maker_mass : CautionKind::below_floor_mass,
                    Forbids::shoot_arrow,
                    {},
                    {}};
    caution.text = fmt::format(
        "The arrow weighs {}{:.0f} gr, {:.1f} grains for each of the {:.0f} lb {}; {} {:g}. So "
        "light an arrow strains a bow as a dry fire does.",
        facts.arrow_mass_slack_kg > 0.0 ? "at most " : "", heaviest_kg / kKilogramsPerGrain, gpp,
        pounds(*facts.held_n), held_words(facts),
        by_maker ? "the bow's maker asks for at least" : "the trade's absolute floor is",
        std::max(maker, kLeastGrainsPerPound));
    caution.mend = fmt::format(
        "An arrow of {:.0f} gr or more brings it back inside: a heavier tip, or heavier shafts.",
        enough_grains(*least_kg));
    found.push_back(caution);
    return;
  }
  const double lightest_gpp = grains_per_pound(*facts.arrow_mass_kg, *facts.held_n);
  if (lightest_gpp < kTraditionalGrainsPerPound && maker == 0.0) {
    found.push_back(
        {CautionKind::below_traditional_mass,
         Forbids::nothing,
         fmt::format("The arrow is {} grains per pound {}; traditional bowyers usually ask 8 to "
                     "10. The bow maker's limit decides.",
                     facts.arrow_mass_slack_kg > 0.0
                         ? fmt::format("{:.1f} to {:.1f} (its feathers were not weighed)",
                                       lightest_gpp, gpp)
                         : fmt::format("{:.1f}", gpp),
                     held_words(facts)),
         {}});
  }
}

void add_rest(const LimitFacts& facts, std::vector<Caution>& found) {
  if (!facts.draw_m) {
    return;
  }
  const double rest_m = nock_to_rest_at_full_draw_m({Hand::right, *facts.draw_m});
  // With the point counted in, an arrow that ends behind the rest has a shaft that does.
  const std::optional<double> end_m =
      facts.shaft_length_m ? facts.shaft_length_m : facts.arrow_length_m;
  if (!end_m) {
    return;
  }
  // Of the whole arrow's length alone the shaft's is not known: any point reaches so far beyond it
  // (common practice, no source).
  constexpr double kPoint_m = 0.5 * 0.0254;
  const double past_m = *end_m - (facts.shaft_length_m ? 0.0 : kPoint_m) - rest_m;
  if (past_m < -kRounding_m) {
    found.push_back(
        {CautionKind::behind_rest, Forbids::shoot_arrow,
         fmt::format("At full draw the shaft ends {:.2f} in "
                     "behind the rest: it can fall off the shelf and be shot into the bow hand "
                     "(common practice). Do not draw it.",
                     -inches(past_m)),
         fmt::format(
             "A shaft of {:.2f} in or more, half an inch past the rest at this draw, brings "
             "it back inside.",
             inches(rest_m + kLeastPastRest_m))});
  } else if (past_m < kLeastPastRest_m - kRounding_m) {
    found.push_back(
        {CautionKind::near_rest,
         Forbids::nothing,
         fmt::format("At full draw only {:.2f} in of shaft is left past the rest: trim no further, "
                     "and mind overdrawing.",
                     inches(std::max(past_m, 0.0))),
         {}});
  }
}

void add_brace(const LimitFacts& facts, std::vector<Caution>& found) {
  if (!facts.brace_height_m) {
    return;
  }
  const bool low = facts.brace_min_m && *facts.brace_height_m < *facts.brace_min_m - kRounding_m;
  const bool high = facts.brace_max_m && *facts.brace_height_m > *facts.brace_max_m + kRounding_m;
  if (!low && !high) {
    return;
  }
  const double limit_m = low ? *facts.brace_min_m : *facts.brace_max_m;
  found.push_back(
      {low ? CautionKind::below_maker_brace : CautionKind::above_maker_brace,
       Forbids::shoot_as_braced,
       fmt::format("Brace height {:.4g} in is {} the {:.4g} in that the bow's maker allows.",
                   inches(*facts.brace_height_m), low ? "below" : "above", inches(limit_m)),
       fmt::format("Unstring the bow and {} the string until the brace height is {} {:.4g} in{}.",
                   low ? "twist" : "untwist", low ? "at least" : "at most", inches(limit_m),
                   low ? "; where twisting does not reach it, a shorter string does"
                       : "; where untwisting does not reach it, a longer string does")});
}

void add_draw(const LimitFacts& facts, std::vector<Caution>& found) {
  if (facts.draw_m && facts.max_draw_m && *facts.draw_m > *facts.max_draw_m + kRounding_m) {
    found.push_back(
        {CautionKind::beyond_maker_draw, Forbids::draw_bow,
         fmt::format("The draw of {:.4g} in is beyond the {:.4g} in that the bow's maker allows.",
                     inches(*facts.draw_m), inches(*facts.max_draw_m)),
         fmt::format("Draw no further than {:.4g} in, or take a bow made for the longer draw.",
                     inches(*facts.max_draw_m))});
  }
  if (facts.held_n && facts.max_draw_weight_n &&
      *facts.held_n > *facts.max_draw_weight_n * (1.0 + kRounding)) {
    found.push_back(
        {CautionKind::beyond_maker_weight, Forbids::draw_bow,
         fmt::format("{:.1f} lb held is above the {:.1f} lb that the bow's maker allows.",
                     pounds(*facts.held_n), pounds(*facts.max_draw_weight_n)),
         fmt::format("Draw it less far, so that no more than {:.1f} lb are held, or take another "
                     "bow.",
                     pounds(*facts.max_draw_weight_n))});
  }
}

}  // namespace

LimitFacts limit_facts(const Setup& setup) {
  LimitFacts facts;
  facts.arrow_mass_kg = mass_properties(setup.arrow).mass_kg;
  facts.held_n = held_force_n(setup);
  facts.min_grains_per_pound = setup.bow.min_grains_per_pound;
  facts.shaft_length_m = setup.arrow.shaft.length_m;
  facts.draw_m = setup.archer.draw_m;
  facts.brace_height_m = setup.bow.brace_height_m;
  facts.brace_min_m = setup.bow.brace_min_m;
  facts.brace_max_m = setup.bow.brace_max_m;
  facts.max_draw_m = setup.bow.max_draw_m;
  facts.max_draw_weight_n = setup.bow.max_draw_weight_n;
  return facts;
}

std::vector<Caution> cautions(const LimitFacts& facts) {
  std::vector<Caution> found;
  add_draw(facts, found);
  add_brace(facts, found);
  add_rest(facts, found);
  add_mass(facts, found);
  std::stable_partition(found.begin(), found.end(),
                        [](const Caution& caution) { return caution.forbids != Forbids::nothing; });
  return found;
}

std::vector<Caution> cautions(const Setup& setup) {
  return cautions(limit_facts(setup));
}

std::vector<Caution> stops(const LimitFacts& facts) {
  std::vector<Caution> found = cautions(facts);
  std::erase_if(found, [](const Caution& caution) { return caution.forbids == Forbids::nothing; });
  return found;
}

const char* forbidding_words(Forbids what) {
  switch (what) {
    case Forbids::draw_bow:
      return "Do not draw this bow";
    case Forbids::shoot_as_braced:
      return "Do not shoot this bow as it is braced";
    case Forbids::shoot_arrow:
    case Forbids::nothing:
      break;
  }
  return "Do not shoot this arrow";
}

std::string stop_words(const Caution& stop) {
  return fmt::format("{}. {} {}", forbidding_words(stop.forbids), stop.text, stop.mend);
}

std::optional<double> lightest_kg(const LimitFacts& facts) {
  if (!facts.held_n) {
    return std::nullopt;
  }
  return std::max(facts.min_grains_per_pound.value_or(0.0), kLeastGrainsPerPound) *
         kKilogramsPerGrain * pounds(*facts.held_n);
}

const char* whose_mass_limit(const LimitFacts& facts) {
  return !facts.min_grains_per_pound ? "the trade's absolute floor; the maker's limit is not told"
         : *facts.min_grains_per_pound > kLeastGrainsPerPound ? "the bow's maker asks"
                                                              : "the trade's absolute floor";
}

std::optional<double> shortest_shaft_m(const LimitFacts& facts) {
  if (!facts.draw_m) {
    return std::nullopt;
  }
  return nock_to_rest_at_full_draw_m({Hand::right, *facts.draw_m}) + kLeastPastRest_m;
}

std::vector<std::string> unknown_for_lighter(const LimitFacts& facts) {
  std::vector<std::string> unknown;
  if (!facts.arrow_mass_kg) {
    unknown.emplace_back("the arrow's mass, weighed");
  }
  if (!facts.held_n) {
    unknown.emplace_back("the bow's draw weight");
  }
  if (facts.held_as_marked) {
    unknown.emplace_back("the draw length");
  }
  // Lighter than bowyers ask for without their word, it is not made lighter still.
  if (facts.arrow_mass_kg && facts.held_n && !facts.min_grains_per_pound &&
      grains_per_pound(*facts.arrow_mass_kg, *facts.held_n) < kTraditionalGrainsPerPound) {
    unknown.emplace_back(
        "the lightest arrow that the bow's maker allows, grains a pound (bow.min_grains_per_pound; "
        "where nobody gives one, 8 is common practice)");
  }
  return unknown;
}

std::vector<std::string> unknown_for_shorter(const LimitFacts& facts) {
  std::vector<std::string> unknown = unknown_for_lighter(facts);
  if (!facts.draw_m && !facts.held_as_marked) {
    unknown.emplace_back("the draw length");
  }
  if (!facts.shaft_length_m) {
    unknown.emplace_back("the shaft's length");
  }
  return unknown;
}

}  // namespace nocktrail::arrow
