#include "nocktrail/tune/judgement_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"

namespace nocktrail::tune {
namespace {

using rules::printable;

std::string measured_line(const char* label, const OffsetSummary& summary, bool vertical,
                          int counted) {
  const Measured offset{summary.mean_deg, summary.u95_deg};
  return fmt::format("  {}: {} (95 %), scatter from shot to shot (deg): {}\n", label,
                     vertical ? rules::vertical_words(offset) : rules::lateral_words(offset),
                     scatter_words(summary, counted));
}

void add_setup(std::string& out, const SetupJudgement& setup) {
  out += fmt::format("{}: {} shot{} counted", printable(setup.name), setup.counted,
                     setup.counted == 1 ? "" : "s");
  std::set<int> places;
  for (const JudgedShot& shot : setup.shots) {
    if (!shot.dropped) {
      places.insert(shot.place);
    }
  }
  if (places.size() > 1) {
    out += fmt::format(", filmed from {} places", places.size());
  }
  if (setup.refused > 0) {
    out +=
        fmt::format(", {} clip{} without a number", setup.refused, setup.refused == 1 ? "" : "s");
  }
  out += '\n';
  for (const std::string& stop : setup.stops) {
    out += fmt::format("  ! {}\n", stop);
  }
  if (!setup.summary.empty()) {
    out += fmt::format("  {}\n", setup.summary);
  }
  if (setup.lateral) {
    out += measured_line("sideways", *setup.lateral, false, setup.counted);
  }
  if (setup.vertical) {
    out += measured_line("up and down", *setup.vertical, true, setup.counted);
  }
  for (const JudgedShot& shot : setup.shots) {
    if (shot.dropped || shot.outlier) {
      out += fmt::format("  {} {}: {}\n", printable(shot.clip),
                         shot.dropped ? "left out" : "stands apart, counted with less weight",
                         printable(shot.why));
    }
  }
  for (const SideShot& shot : setup.side_shots) {
    if (shot.dropped) {
      out += fmt::format("  {} left out: {}\n", printable(shot.clip), printable(shot.why));
    }
  }
  for (const std::string& warning : setup.warnings) {
    out += fmt::format("  ! {}\n", warning);
  }
}

std::string quantity_text(Quantity quantity, double value) {
  using namespace units;
  switch (quantity) {
    case Quantity::tip_mass:
      return fmt::format("{:.0f} gr", value / kKilogramsPerGrain);
    case Quantity::spine:
      return fmt::format("{:.3f} in ASTM, {:.0f} lb", arrow::astm_deflection_in(value),
                         arrow::wood_pounds(value));
    case Quantity::shaft_length:
    case Quantity::nocking_point:
    case Quantity::brace_height:
    case Quantity::plate_offset:
      break;
  }
  return fmt::format("{:.2f} in", value / kMetresPerInch);
}

// The unit in which people think of a slope, and how much of SI it is.
struct SlopeUnit {
  const char* name;
  double si;
};

SlopeUnit slope_unit(Quantity quantity) {
  switch (quantity) {
    case Quantity::tip_mass:
      return {"25 gr", 25.0 * units::kKilogramsPerGrain};
    case Quantity::nocking_point:
      return {"1/16 in", units::kMetresPerInch / 16.0};
    case Quantity::plate_offset:
      return {"1/32 in", units::kMetresPerInch / 32.0};
    case Quantity::spine:
      return {"5 lb of wood spine", arrow::ei_from_wood_pounds(5.0)};
    case Quantity::shaft_length:
    case Quantity::brace_height:
      break;
  }
  return {"1/4 in", units::kMetresPerInch / 4.0};
}

void add_learned(std::string& out, const Learned& learned) {
  const SlopeUnit unit = slope_unit(learned.quantity);
  out += fmt::format(
      "  {} ({}): ", learned.whole_arrow ? "whole arrow's length" : word(learned.quantity),
      learned.vertical ? "up and down" : "sideways");
  const arrow::Band& slope = learned.slope_deg_per_unit;
  constexpr double kNothing_deg = 0.005;  // what two decimals do not show
  if (std::max(std::abs(slope.low95), std::abs(slope.high95)) * unit.si < kNothing_deg) {
    out += "no change to speak of";
  } else {
    out += fmt::format("{:+.2f} deg per {} more (95 %: {:+.2f} to {:+.2f})", slope.median * unit.si,
                       unit.name, slope.low95 * unit.si, slope.high95 * unit.si);
  }
  if (learned.straight_at) {
    out += "; straight at " +
           (learned.quantity == Quantity::shaft_length
                ? length_band_words(*learned.straight_at)
                : fmt::format("{} (95 %: {} to {})",
                              quantity_text(learned.quantity, learned.straight_at->median),
                              quantity_text(learned.quantity, learned.straight_at->low95),
                              quantity_text(learned.quantity, learned.straight_at->high95)));
  }
  out += '\n';
  if (!learned.prior_words.empty()) {
    out += fmt::format("    {}\n", learned.prior_words);
  }
}

void add_lines(std::string& out, const std::vector<BuildLine>& lines) {
  for (const BuildLine& line : lines) {
    out +=
        fmt::format("  {}: {}", line.what, line.value.empty() ? "________" : printable(line.value));
    if (!line.tolerance.empty()) {
      out += fmt::format("  ({})", line.tolerance);
    }
    out += '\n';
  }
}

}  // namespace

std::string chance_words(double chance) {
  const double percent = 100.0 * chance;
  if (!std::isfinite(percent)) {
    return "not known";
  }
  return percent < 1.0 ? "under 1 %" : fmt::format("{:.0f} %", percent);
}

std::string judgement_line(const SessionRecord& session, const SessionJudgement& judgement) {
  const std::string step = judgement.next.words;
  for (auto it = judgement.setups.rbegin(); it != judgement.setups.rend(); ++it) {
    if (!it->summary.empty()) {
      // Clips that lie in the session's own folder are of no set-up that has a name.
      const std::string name = printable(it->name == "." ? session.name : it->name);
      if (forbids(judgement.next.kind)) {
        return fmt::format("{}: {} ({})", name, step, it->summary);
      }
      return fmt::format("{}: {} Next: {}", name, it->summary, step);
    }
  }
  return fmt::format("{}: {}", printable(session.name), step);
}

std::string build_sheet_text(const SessionJudgement& judgement) {
  if (!judgement.build_sheet) {
    return {};
  }
  const BuildSheet& sheet = *judgement.build_sheet;
  std::string out = "Build sheet\n";
  out += " Bow\n";
  add_lines(out, sheet.bow);
  out += " Arrow\n";
  add_lines(out, sheet.arrow);
  if (!sheet.offsets.empty()) {
    out += fmt::format("  {}\n", sheet.offsets);
  }
  out += fmt::format(" Measure on each of the {} arrows: ", sheet.arrows);
  for (std::size_t i = 0; i < sheet.columns.size(); ++i) {
    out += (i == 0 ? "" : ", ") + sheet.columns[i];
  }
  out += '\n';
  for (const std::string& caution : sheet.cautions) {
    out += fmt::format("  ! {}\n", caution);
  }
  return out;
}

std::string scatter_words(const std::optional<OffsetSummary>& summary, int counted) {
  if (!summary || !std::isfinite(summary->scatter_deg)) {
    return "-";
  }
  if (counted < 2) {
    return "not known";
  }
  constexpr double kLeast_deg = 0.01;  // as far as it is written
  return summary->scatter_deg < kLeast_deg ? "too small to tell"
                                           : fmt::format("{:.2f}", summary->scatter_deg);
}

std::string judgement_text(const SessionRecord& session, const SessionJudgement& judgement) {
  std::string out = fmt::format("{}\n", printable(session.name));
  if (!session.made_up.empty()) {
    out += fmt::format("Made up, not shot: {}\n", printable(session.made_up));
  }
  out += fmt::format("Next step: {}\n", judgement.next.words);
  if (!judgement.next.because.empty()) {
    out += fmt::format("  Because: {}\n", judgement.next.because);
  }
  if (judgement.next.overshoot_chance) {
    out += fmt::format("  Chance of going past straight: {}\n",
                       chance_words(*judgement.next.overshoot_chance));
  }
  for (const std::string& caution : judgement.next.cautions) {
    out += fmt::format("  ! {}\n", caution);
  }
  out += '\n';
  for (const SetupJudgement& setup : judgement.setups) {
    add_setup(out, setup);
  }
  // Where it would be straight is no matter for what must not be shot.
  if (!judgement.learned.empty() && !forbids(judgement.next.kind)) {
    out += "\nWhat this bow answers to a change";
    switch (session.setups.empty() ? Fletching::unknown
                                   : session.setups.back().facts.arrow.fletching) {
      case Fletching::bare:
        out += ", of the latest set-up, bare";
        break;
      case Fletching::fletched:
        out += ", of the latest set-up, fletched";
        break;
      case Fletching::unknown:
        break;
    }
    out += '\n';
    for (const Learned& learned : judgement.learned) {
      add_learned(out, learned);
    }
  }
  if (judgement.build_sheet) {
    out += '\n' + build_sheet_text(judgement);
  }
  for (const std::string& caution : judgement.cautions) {
    out += fmt::format("! {}\n", caution);
  }
  return out;
}

}  // namespace nocktrail::tune
