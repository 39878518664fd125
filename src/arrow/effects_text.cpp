#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "nocktrail/arrow/effects_view.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/arrow/spine.hpp"

namespace nocktrail::arrow {
namespace {

// A set with fewer draws than this behind it is a reading that the model does not expect.
constexpr double kFewDraws = 30.0;

using Out = std::back_insert_iterator<std::string>;

std::string band_text(const Band& band) {
  constexpr double kNothing_deg = 0.005;  // what two decimals do not show
  if (std::max(std::abs(band.low95), std::abs(band.high95)) < kNothing_deg) {
    return "  none";
  }
  return fmt::format("{:+6.2f}  ({:+.2f} to {:+.2f})", band.median, band.low95, band.high95);
}

// What the lateral change says of the spine.
std::string in_words(const Band& lateral_deg, double share_weaker) {
  constexpr double kNothing_deg = 0.02;
  if (std::max(std::abs(lateral_deg.low95), std::abs(lateral_deg.high95)) < kNothing_deg) {
    return "-";
  }
  if (share_weaker >= 0.9) {
    return "weaker";
  }
  if (share_weaker <= 0.1) {
    return "stiffer";
  }
  return share_weaker > 0.5 ? "weaker?" : "stiffer?";
}

void write_facts(Out out, const EffectsAnswer& answer) {
  const Setup& setup = answer.setup;
  const MassProperties mass = mass_properties(setup.arrow);
  const double ei = setup.arrow.shaft.ei_n_m2;
  const double speed = answer.table.speed_mps.median;
  fmt::format_to(out, "Set-up {}\n", answer.setup_name);
  fmt::format_to(out,
                 "  arrow    {:.0f} gr, balance {:.1f}in from the nock, FOC {:.1f} %\n"
                 "  spine    {:.3f}in (28in, 1.94lb) = {:.1f}lb wood (26in, 2lb), EI {:.2f} N m2\n"
                 "  bow      {:.1f}lb held at {:.1f}in AMO; {:.1f} grains per pound\n",
                 mass.mass_kg / units::kKilogramsPerGrain, mass.balance_m / units::kMetresPerInch,
                 mass.foc_percent, astm_deflection_in(ei), wood_pounds(ei), ei,
                 held_force_n(setup) / units::kNewtonsPerPoundForce,
                 setup.archer.draw_m / units::kMetresPerInch,
                 grains_per_pound(mass.mass_kg, held_force_n(setup)));
  fmt::format_to(out, "  model    {:.0f} fps ({:.0f} to {:.0f}), {:.1f} ft lbf; flex {:.1f} Hz\n\n",
                 speed / units::kMetresPerFoot,
                 answer.table.speed_mps.low95 / units::kMetresPerFoot,
                 answer.table.speed_mps.high95 / units::kMetresPerFoot,
                 energy_ft_lbf(mass.mass_kg, speed), BeamModes(setup.arrow).frequency_hz(1));
}

void write_table(Out out, const EffectsAnswer& answer) {
  const Hand hand = answer.setup.archer.hand;
  fmt::format_to(out,
                 "Nock's offset 2 m past the rest, degrees, bow upright: median (95 % band)\n"
                 "  + is nock to the shooter's right, nock high; weak is nock {}\n",
                 hand == Hand::left ? "right (+)" : "left (-)");
  if (hand == Hand::unknown) {
    fmt::format_to(
        out,
        "  The hand is not told: these are a right-handed archer's; for a left-handed one "
        "read left for right.\n");
  }
  fmt::format_to(out, "  {:31}  right {}   high {}\n", "as it stands",
                 band_text(answer.table.nock_right_deg), band_text(answer.table.nock_high_deg));
  fmt::format_to(out, "\nChange of the offset, one thing at a time\n  {:31}  {:26}  {:26}  {}\n",
                 "", "nock right", "nock high", "acts");
  for (const Effect& effect : answer.table.effects) {
    fmt::format_to(out, "  {:31}  {:26}  {:26}  {}\n", effect.change.label,
                   band_text(effect.lateral_deg), band_text(effect.vertical_deg),
                   in_words(effect.lateral_deg, effect.share_weaker));
    if (!effect.change.note.empty()) {
      fmt::format_to(out, "    {}\n", effect.change.note);
    }
    for (const std::string& stop : effect.stops) {
      fmt::format_to(out, "    ! {}\n", stop);
    }
    for (const std::string& caution : effect.cautions) {
      fmt::format_to(out, "    ! {}\n", caution);
    }
  }
  if (answer.table.share_folded > 0.02) {
    fmt::format_to(
        out,
        "\n  ! In {:.0f} % of the draws the shaft folds or leaves at over 30 degrees: far "
        "too weak to shoot.\n",
        100.0 * answer.table.share_folded);
  }
  if (answer.table.share_touching > 0.05) {
    fmt::format_to(
        out,
        "\n  In {:.0f} % of the draws the tail touches the bow after leaving the string: "
        "a reading may\n  then be false. Trust the trend after one known change.\n",
        100.0 * answer.table.share_touching);
  }
}

struct AmountUnit {
  const char* name;
  double si;  // of one unit
  int decimals;
};

void write_remaining(Out out, const Remaining& remaining, const AmountUnit& unit, const char* what,
                     const char* other_side) {
  if (remaining.share_reached > 0.05) {
    const auto amount = [&](double si) {
      return fmt::format("{:.{}f}", si / unit.si, unit.decimals);
    };
    fmt::format_to(out, "  {}: {}{} (95 %: {} to {}{}) in {:.0f} % of the draws", what,
                   amount(remaining.amount.median), unit.name, amount(remaining.amount.low95),
                   amount(remaining.amount.high95), unit.name, 100.0 * remaining.share_reached);
  } else {
    fmt::format_to(out, "  {}: no safe amount makes it straight", what);
  }
  if (remaining.share_wrong_way > 0.005) {
    fmt::format_to(out, "; {:.0f} % {}", 100.0 * remaining.share_wrong_way, other_side);
  }
  if (remaining.share_out_of_reach > 0.005) {
    fmt::format_to(out, "; {:.0f} % not within safe reach", 100.0 * remaining.share_out_of_reach);
  }
  fmt::format_to(out, "\n");
}

void write_outlook(Out out, const EffectsAnswer& answer) {
  if (answer.reading) {
    fmt::format_to(out, "\nReading {:+.2f} +- {:.2f} deg: what remains until it leaves straight\n",
                   answer.reading->nock_right_deg, answer.reading->u95_deg);
    if (answer.draws.effective < kFewDraws) {
      fmt::format_to(out,
                     "  ! The model hardly expects this reading of this set-up ({:.1f} of {} draws "
                     "agree): check the\n    set-up file, and look for a false reading (plucked "
                     "loose, contact) before changing anything.\n",
                     answer.draws.effective, answer.draws.pool);
    }
  } else {
    fmt::format_to(out, "\nWithout a reading (give --reading DEG --u95 DEG for a real answer)\n");
  }
  write_remaining(out, answer.outlook.trim, {"in", units::kMetresPerInch, 2}, "to trim",
                  "are not weak: nothing to trim");
  write_remaining(out, answer.outlook.lose_tip, {"gr", units::kKilogramsPerGrain, 0},
                  "to take off at the tip", "are not weak: nothing to take off");
  write_remaining(out, answer.outlook.add_tip, {"gr", units::kKilogramsPerGrain, 0},
                  "to add at the tip", "are not stiff: nothing to add");
  fmt::format_to(out,
                 "  Trim no more than 1/4in at a time and shoot again: it cannot be undone. Never "
                 "below {:.2f}in\n  (1/2in past the rest at full draw, and as heavy as the limits "
                 "ask). What can be undone comes before\n  a cut.\n",
                 answer.outlook.curve.shortest_safe_m / units::kMetresPerInch);
}

// What forbids first, each with what mends it; a line between it and the rest.
void write_stops(Out out, const std::vector<std::string>& stops) {
  for (const std::string& stop : stops) {
    fmt::format_to(out, "{}\n", stop);
  }
  if (!stops.empty()) {
    fmt::format_to(out, "\n");
  }
}

void write_cautions(Out out, const Setup& setup) {
  bool any = false;
  for (const Caution& caution : cautions(setup)) {
    if (caution.forbids == Forbids::nothing) {
      fmt::format_to(out, "! {}\n", caution.text);
      any = true;
    }
  }
  if (any) {
    fmt::format_to(out, "\n");
  }
}

constexpr const char* kSafety =
    "\nThe bow maker's limits on arrow mass, draw and brace height come first, and so do the rules "
    "of\nyour range. Bare and badly matched shafts may break or glance: start close to a large, "
    "soft butt,\nwith everyone well back. Look at, twist and flex a carbon shaft before each "
    "shot.\n";

}  // namespace

std::string effects_text(const EffectsAnswer& answer) {
  std::string text;
  const Out out(text);
  write_stops(out, answer.stops);
  write_cautions(out, answer.setup);
  write_facts(out, answer);
  write_table(out, answer);
  if (answer.stops.empty()) {
    write_outlook(out, answer);
  } else {
    fmt::format_to(out,
                   "\nWhat is left to trim or to add is not said of a set-up that must not be "
                   "shot. Only a row without\n\"Do not\" is inside its limits; none of them says "
                   "that a shaft which trails too far may be shot bare.\n");
  }
  fmt::format_to(
      out,
      "\n{} draws, seed {}. The bands carry what is not known of fingers, plate, string, "
      "bow and shaft;\nthe model itself has not been checked against films.\n",
      answer.draws.draws.size(), answer.seed);
  text += kSafety;
  return text;
}

std::string starting_text(const Setup& setup, const StartingRange& range) {
  std::string text;
  const Out out(text);
  const std::vector<Caution> forbidden = stops(limit_facts(setup));
  if (!forbidden.empty()) {
    for (const Caution& stop : forbidden) {
      fmt::format_to(out, "{}\n", stop_words(stop));
    }
    fmt::format_to(out, "\nNo spines to start with are named for a set-up beyond a limit.\n");
    text += kSafety;
    return text;
  }
  write_cautions(out, setup);
  if (range.share_found < 0.5) {
    fmt::format_to(out,
                   "In only {:.0f} % of the draws does any spine leave straight: check the "
                   "set-up (plate offset, draw).\n",
                   100.0 * range.share_found);
    return text;
  }
  const double held_lb = held_force_n(setup) / units::kNewtonsPerPoundForce;
  fmt::format_to(out,
                 "Static spines worth a test set, for {:.0f}lb held, a {:.4g}in shaft and a {:.0f} "
                 "gr tip\n",
                 held_lb, setup.arrow.shaft.length_m / units::kMetresPerInch,
                 setup.arrow.tip_mass_kg / units::kKilogramsPerGrain);
  fmt::format_to(out,
                 "  model   {:.3f}in (80 %: {:.3f} to {:.3f}; 95 %: {:.3f} to {:.3f}), ASTM 28in "
                 "1.94lb\n          {:.0f}lb wood (95 %: {:.0f} to {:.0f}), 26in 2lb\n",
                 range.astm_deflection_in.median, range.low80_in, range.high80_in,
                 range.astm_deflection_in.low95, range.astm_deflection_in.high95,
                 range.wood_pounds.median, range.wood_pounds.low95, range.wood_pounds.high95);
  fmt::format_to(out, "  try     {}\n",
                 !range.groups.empty()    ? fmt::format("{}", fmt::join(range.groups, ", "))
                 : range.left_out.empty() ? "the group nearest the median"
                                          : "none of these: they would be beyond a limit");
  for (const std::string& group : range.left_out) {
    fmt::format_to(out, "  not     {}\n", group);
  }
  fmt::format_to(out,
                 "  rule    {:.0f} +-{:.0f}lb wood, by the usual rule of thumb (no source; sources "
                 "differ twofold)\n",
                 range.rule_of_thumb_lb, range.rule_of_thumb_spread_lb);
  fmt::format_to(out,
                 "Start with full-length shafts: a long one can be trimmed, a short one cannot be "
                 "mended.\n");
  text += kSafety;
  return text;
}

}  // namespace nocktrail::arrow
