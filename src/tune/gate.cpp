#include "nocktrail/tune/gate.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/rules/before_change.hpp"

namespace nocktrail::tune {
namespace {

using units::kKilogramsPerGrain;
using units::kMetresPerInch;

constexpr double kHeavyFletching_kg = 30.0 * kKilogramsPerGrain;  // common practice, no source
constexpr double kUsualBraceHeight_m = 7.25 * kMetresPerInch;
constexpr double kUsualRatedDraw_m = 28.0 * kMetresPerInch;

// What is held at the archer's draw; the marked weight where that draw was not told.
std::optional<double> held_n(const SetupFacts& facts) {
  if (!facts.bow.draw_weight_n || !facts.draw_m) {
    return facts.bow.draw_weight_n;
  }
  arrow::Setup setup;
  setup.archer.draw_m = *facts.draw_m;
  setup.bow.draw_weight_n = *facts.bow.draw_weight_n;
  setup.bow.rated_draw_m = facts.bow.rated_draw_m.value_or(kUsualRatedDraw_m);
  setup.bow.brace_height_m = facts.bow.brace_height_m.value_or(kUsualBraceHeight_m);
  constexpr double kLeastStroke_m = 0.25;  // as for the arrow model: else the figures are no bow's
  if (arrow::power_stroke_m(setup) < kLeastStroke_m) {
    return facts.bow.draw_weight_n;
  }
  const double held = arrow::held_force_n(setup);
  return std::isfinite(held) && held > 0.0 ? held : *facts.bow.draw_weight_n;
}

// The parts without fletching, when each was told.
std::optional<double> parts_kg(const ArrowFacts& arrow) {
  if (!arrow.shaft_length_m || !arrow.mass_per_length_kg_per_m || !arrow.tip_mass_kg ||
      !arrow.nock_mass_kg) {
    return std::nullopt;
  }
  arrow::ArrowBuild build;
  build.shaft.length_m = *arrow.shaft_length_m;
  build.shaft.mass_per_length_kg_per_m = *arrow.mass_per_length_kg_per_m;
  build.shaft.diameter_m = arrow.diameter_m.value_or(1.0);
  if (arrow.taper_length_m && arrow.taper_end_diameter_m && arrow.diameter_m) {
    build.shaft.taper_length_m = *arrow.taper_length_m;
    build.shaft.taper_end_diameter_m = *arrow.taper_end_diameter_m;
  }
  build.tip_mass_kg = *arrow.tip_mass_kg;
  build.nock_mass_kg = *arrow.nock_mass_kg;
  return arrow::mass_properties(build).mass_kg;
}

void add_mass(const ArrowFacts& arrow, arrow::LimitFacts& limits) {
  if (arrow.total_mass_kg) {
    limits.arrow_mass_kg = arrow.total_mass_kg;
    return;
  }
  limits.arrow_mass_kg = parts_kg(arrow);
  if (limits.arrow_mass_kg && arrow.fletching != Fletching::bare) {
    if (arrow.fletching == Fletching::fletched && arrow.fletching_mass_kg) {
      *limits.arrow_mass_kg += *arrow.fletching_mass_kg;
    } else {
      limits.arrow_mass_slack_kg = kHeavyFletching_kg;
    }
  }
}

}  // namespace

arrow::LimitFacts limit_facts(const SetupFacts& facts) {
  arrow::LimitFacts limits;
  add_mass(facts.arrow, limits);
  limits.held_n = held_n(facts);
  limits.held_as_marked = facts.bow.draw_weight_n.has_value() && !facts.draw_m;
  limits.min_grains_per_pound = facts.bow.min_grains_per_pound;
  limits.shaft_length_m = facts.arrow.shaft_length_m;
  limits.arrow_length_m = facts.arrow.arrow_length_m;
  limits.draw_m = facts.draw_m;
  limits.brace_height_m = facts.bow.brace_height_m;
  limits.brace_min_m = facts.bow.brace_min_m;
  limits.brace_max_m = facts.bow.brace_max_m;
  limits.max_draw_m = facts.bow.max_draw_m;
  limits.max_draw_weight_n = facts.bow.max_draw_weight_n;
  return limits;
}

arrow::LimitFacts bare_limit_facts(const SetupFacts& facts) {
  arrow::LimitFacts limits = limit_facts(facts);
  if (facts.arrow.fletching == Fletching::fletched && limits.arrow_mass_kg) {
    const bool weighed = facts.arrow.total_mass_kg || facts.arrow.fletching_mass_kg;
    *limits.arrow_mass_kg -=
        weighed ? facts.arrow.fletching_mass_kg.value_or(kHeavyFletching_kg) : 0.0;
  }
  // Parts that add up to less than the scale says are the careful figure.
  if (const auto parts = parts_kg(facts.arrow); parts && limits.arrow_mass_kg) {
    limits.arrow_mass_kg = std::min(*limits.arrow_mass_kg, *parts);
  }
  limits.arrow_mass_slack_kg = 0.0;
  return limits;
}

std::vector<std::string> stop_texts(const SetupFacts& facts) {
  std::vector<std::string> texts;
  for (const arrow::Caution& stop : arrow::stops(limit_facts(facts))) {
    texts.push_back(arrow::stop_words(stop));
  }
  return texts;
}

std::vector<std::string> stop_texts(const SetupFacts& facts,
                                    const std::optional<OffsetSummary>& lateral,
                                    const std::optional<OffsetSummary>& vertical) {
  std::vector<std::string> texts = stop_texts(facts);
  rules::Evidence evidence;
  evidence.fletched = facts.arrow.fletching == Fletching::fletched;
  evidence.bare = facts.arrow.fletching == Fletching::bare;
  const auto measured = [](const std::optional<OffsetSummary>& summary) {
    return summary ? std::optional(Measured{summary->mean_deg, summary->u95_deg}) : std::nullopt;
  };
  evidence.lat_deg = measured(lateral);
  evidence.vert_deg = measured(vertical);
  if (const auto asked = rules::stop_for_mismatch(evidence)) {
    texts.push_back(asked->words);
  }
  return texts;
}

std::optional<Step> limit_step(const SetupFacts& facts) {
  const std::vector<arrow::Caution> stops = arrow::stops(limit_facts(facts));
  if (stops.empty()) {
    return std::nullopt;
  }
  Step step;
  step.kind = step_of(stops.front().forbids);
  step.words = fmt::format("{}", fmt::join(stop_texts(facts), " "));
  step.because = "A limit is passed; nothing else is advised until it is mended.";
  return step;
}

StepKind step_of(arrow::Forbids what) {
  switch (what) {
    case arrow::Forbids::draw_bow:
      return StepKind::do_not_draw_bow;
    case arrow::Forbids::shoot_as_braced:
      return StepKind::do_not_shoot_bow;
    case arrow::Forbids::shoot_arrow:
    case arrow::Forbids::nothing:
      break;
  }
  return StepKind::do_not_shoot_arrow;
}

void put_stops_first(Shot& shot, const SetupFacts& facts) {
  const std::vector<arrow::Caution> stops = arrow::stops(limit_facts(facts));
  if (stops.empty() || shot.status != ShotStatus::measured) {
    return;
  }
  const std::string own = forbids(shot.verdict.step) ? " " + shot.verdict.next_step : "";
  shot.verdict.step = step_of(stops.front().forbids);
  shot.verdict.next_step = fmt::format("{}{}", fmt::join(stop_texts(facts), " "), own);
}

}  // namespace nocktrail::tune
