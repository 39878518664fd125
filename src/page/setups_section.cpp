#include <fmt/format.h>

#include <cmath>

#include "charts.hpp"
#include "html.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "numbers.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

std::string changes_in_words(const SetupView& setup) {
  if (setup.before == nullptr) {
    return "first set-up";
  }
  std::string words;
  for (const tune::FactLine& fact : tune::changed_facts(*setup.before, setup.record->facts)) {
    words += fmt::format("{}{}: {}", words.empty() ? "" : "; ", fact.what, fact.value);
  }
  return words.empty() ? "nothing told" : words;
}

std::string mean_cell(const std::optional<tune::OffsetSummary>& summary, bool vertical) {
  return summary ? offset_cell(measured(*summary), vertical) : kMissing;
}

std::string scatter_cell(const std::optional<tune::OffsetSummary>& summary) {
  return summary && std::isfinite(summary->scatter_deg)
             ? fmt::format("{:.2f}", summary->scatter_deg)
             : kMissing;
}

std::string standing(const tune::JudgedShot& shot) {
  const std::string why = shot.why.empty() ? "" : ": " + shot.why;
  if (shot.dropped) {
    return "left out by the archer" + why;
  }
  return shot.outlier ? "counts less, far from the others" + why : "counts";
}

void facts(pugi::xml_node parent, const SetupView& setup) {
  const std::vector<tune::FactLine> lines =
      setup.before == nullptr ? tune::fact_lines(setup.record->facts)
                              : tune::changed_facts(*setup.before, setup.record->facts);
  if (lines.empty()) {
    element(parent, "p", {{"class", "soft"}},
            setup.before == nullptr ? "No facts told of this set-up."
                                    : "No change told from the set-up before.");
    return;
  }
  if (setup.before != nullptr) {
    element(parent, "p", {{"class", "soft"}}, "Changed from the set-up before:");
  }
  const pugi::xml_node list = element(parent, "dl", {{"class", "facts"}});
  for (const tune::FactLine& line : lines) {
    element(list, "dt", {}, line.what);
    element(list, "dd", {}, line.value);
  }
}

void shots_table(pugi::xml_node parent, const SetupView& setup) {
  if (setup.shots.empty()) {
    element(parent, "p", {}, "No measured shot.");
    return;
  }
  const pugi::xml_node body =
      table(parent, fmt::format("{}: the measured shots, offsets in deg", setup.judged->name),
            {"No.", "Clip", "Lateral", "Vertical", "Standing"});
  for (const ShotView& view : setup.shots) {
    row(body,
        {std::to_string(view.number), shot_name(*view.judged), lateral_cell(view.judged->lat_deg),
         vertical_cell(view.judged->vert_deg), standing(*view.judged)});
  }
}

}  // namespace

void glance_section(pugi::xml_node parent, const Content& content) {
  if (content.setups.empty()) {
    element(parent, "p", {}, "No set-up has been shot yet.");
    return;
  }
  const pugi::xml_node body = table(
      parent, "Set-ups in order of shooting; mean offsets and scatter from shot to shot in deg",
      {"No.", "Set-up", "What changed", "Shots", "Lateral", "Scatter", "Vertical", "Scatter",
       "Spine", "Nocking point"});
  int number = 0;
  for (const SetupView& setup : content.setups) {
    const tune::SetupJudgement& judged = *setup.judged;
    row(body, {std::to_string(++number), judged.name, changes_in_words(setup),
               std::to_string(judged.counted), mean_cell(judged.lateral, false),
               scatter_cell(judged.lateral), mean_cell(judged.vertical, true),
               scatter_cell(judged.vertical), rules::word(judged.spine),
               rules::word(judged.nocking_point)});
  }
  if (content.setups.size() > 1) {
    course_chart(parent, "course", content.setups, content.options.dead_band_deg);
  }
}

void setups_section(pugi::xml_node parent, const Content& content) {
  int number = 0;
  for (const SetupView& setup : content.setups) {
    ++number;
    element(parent, "h3", {}, fmt::format("{}. {}", number, setup.judged->name));
    if (!setup.judged->summary.empty()) {
      element(parent, "p", {}, setup.judged->summary);
    }
    const pugi::xml_node halves = element(parent, "div", {{"class", "charts"}});
    if (!setup.shots.empty()) {
      scatter_chart(halves, fmt::format("scatter-{}", number), setup,
                    content.options.dead_band_deg);
    }
    const pugi::xml_node words = element(halves, "div");
    facts(words, setup);
    cautions_list(words, setup.judged->warnings);
    shots_table(parent, setup);
  }
}

void flight_section(pugi::xml_node parent, const Content& content) {
  const pugi::xml_node charts = element(parent, "div", {{"class", "charts"}});
  int number = 0;
  for (const SetupView& setup : content.setups) {
    ++number;
    flight_chart(charts, fmt::format("flight-{}-lateral", number), setup, false,
                 content.options.dead_band_deg);
    flight_chart(charts, fmt::format("flight-{}-vertical", number), setup, true,
                 content.options.dead_band_deg);
  }
  if (!charts.first_child()) {
    element(parent, "p", {}, "No shot has its change along the flight measured.");
    return;
  }
  const pugi::xml_node body = table(
      parent, "Change of the offset along the flight, deg a metre, with the nock 2 m past the rest",
      {"Set-up", "Shot", "Clip", "Lateral", "Vertical"});
  for (const SetupView& setup : content.setups) {
    for (const ShotView& view : setup.shots) {
      if (view.lat_slope_deg_per_m && view.vert_slope_deg_per_m) {
        row(body, {setup.judged->name, std::to_string(view.number), shot_name(*view.judged),
                   signed_interval(*view.lat_slope_deg_per_m),
                   signed_interval(*view.vert_slope_deg_per_m)});
      }
    }
  }
}

}  // namespace nocktrail::page
