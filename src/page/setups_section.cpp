#include <fmt/format.h>

#include <charconv>

#include "charts.hpp"
#include "html.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "numbers.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

std::string changes_in_words(const SetupView& setup) {
  if (setup.before == nullptr) {
    return "first set-up";
  }
  const std::string words = tune::changes_in_brief(*setup.before, setup.record->facts);
  return words.empty() ? "nothing told" : words;
}

std::string mean_cell(const std::optional<tune::OffsetSummary>& summary, bool vertical) {
  return summary ? offset_cell(measured(*summary), vertical) : kMissing;
}

std::string shots_cell(const tune::SetupJudgement& judged) {
  const auto from_side = std::count_if(judged.side_shots.begin(), judged.side_shots.end(),
                                       [](const tune::SideShot& shot) { return !shot.dropped; });
  return from_side == 0 ? std::to_string(judged.counted)
                        : fmt::format("{}, {} from the side", judged.counted, from_side);
}

// Most folders carry their number already.
std::string numbered(int number, const std::string& name) {
  int own = 0;
  std::from_chars(name.data(), name.data() + name.size(), own);
  return own == number ? name : fmt::format("{}: {}", number, name);
}

// The clip a shot came from, who found the arrow in it, and how it counts where that is not in
// full.
std::string clip_cell(const ShotView& view) {
  const tune::JudgedShot& shot = *view.judged;
  const bool by_hand = view.shot != nullptr && view.shot->by == ReadBy::hand;
  return shot_name(shot.clip) + (by_hand ? ", marked by hand" : "") +
         (shot.dropped   ? ", left out"
          : shot.outlier ? ", counts less"
                         : "");
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
  if (setup.shots.empty() && setup.from_side.empty()) {
    element(parent, "p", {}, "No measured shot.");
    return;
  }
  const pugi::xml_node body =
      table(parent, fmt::format("Shots of {}, offsets in deg", setup.judged->name),
            {"No.", "Clip", "Lateral", "Vertical"});
  for (const ShotView& view : setup.shots) {
    const pugi::xml_node line =
        row(body, {std::to_string(view.number), clip_cell(view), lateral_cell(view.judged->lat_deg),
                   vertical_cell(view.judged->vert_deg)});
    line.child("td").append_attribute("class").set_value("name");
  }
  for (const SideShotView& view : setup.from_side) {
    const tune::SideShot& shot = *view.judged;
    const std::string vertical =
        shot.vert_deg ? vertical_cell(*shot.vert_deg) : vertical_cell(shot.high_deg) + " to plumb";
    const pugi::xml_node line =
        row(body, {kMissing, shot_name(shot.clip) + (shot.dropped ? ", left out" : ""),
                   "from the side", vertical});
    line.child("td").append_attribute("class").set_value("name");
  }
}

}  // namespace

void glance_section(pugi::xml_node parent, const Content& content) {
  if (content.setups.empty()) {
    element(parent, "p", {}, "No set-up has been shot yet.");
    return;
  }
  const pugi::xml_node body =
      table(parent, "Set-ups in order of shooting; offsets are means, in deg",
            {"Set-up", "Lateral", "Vertical", "Spine", "Nocking point", "Shots",
             "Scatter, lat. and vert.", "What changed"});
  int number = 0;
  for (const SetupView& setup : content.setups) {
    const tune::SetupJudgement& judged = *setup.judged;
    pugi::xml_node line = row(
        body,
        {numbered(++number, judged.name) + (judged.stops.empty() ? "" : ", do not shoot"),
         mean_cell(judged.lateral, false), mean_cell(judged.vertical, true),
         fmt::format(
             "{}{}", rules::word(judged.spine),
             setup.record->facts.arrow.fletching == tune::Fletching::fletched ? ", fletched" : ""),
         rules::word(judged.nocking_point), shots_cell(judged),
         fmt::format("{}, {}", tune::scatter_words(judged.lateral, judged.counted),
                     tune::scatter_words(judged.vertical, judged.counted)),
         changes_in_words(setup)});
    line.first_child().append_attribute("class").set_value("name");
    line.last_child().append_attribute("class").set_value("long");
  }
  if (content.setups.size() > 1) {
    course_chart(element(parent, "div", {{"class", "alone"}}), "course", content.setups,
                 content.options.dead_band_deg);
  }
}

void setups_section(pugi::xml_node parent, const Content& content) {
  scatter_help(parent);
  int number = 0;
  for (const SetupView& setup : content.setups) {
    ++number;
    const pugi::xml_node whole = element(parent, "div", {{"class", "setup"}});
    element(whole, "h3", {}, "Set-up " + numbered(number, setup.judged->name));
    cautions_list(whole, setup.judged->stops);
    if (!setup.judged->summary.empty()) {
      element(whole, "p", {}, setup.judged->summary);
    }
    const pugi::xml_node halves = element(whole, "div", {{"class", "charts"}});
    if (!setup.shots.empty()) {
      scatter_chart(halves, fmt::format("scatter-{}", number), setup,
                    content.options.dead_band_deg);
    }
    const pugi::xml_node words = element(halves, "div");
    facts(words, setup);
    cautions_list(words, setup.judged->warnings);
    shots_table(words, setup);
  }
}

void flight_section(pugi::xml_node parent, const Content& content) {
  pugi::xml_node help = flight_help(parent);
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
    parent.remove_child(help);
    parent.remove_child(charts);
    element(parent, "p", {}, "No shot has its change along the flight measured.");
    return;
  }
  const pugi::xml_node body = table(
      parent, "Change of the offset along the flight, deg a metre, with the nock 2 m past the rest",
      {"Set-up", "Shot", "Lateral", "Vertical"});
  for (const SetupView& setup : content.setups) {
    for (const ShotView& view : setup.shots) {
      if (view.lat_slope_deg_per_m && view.vert_slope_deg_per_m) {
        row(body, {setup.judged->name, std::to_string(view.number),
                   signed_interval(*view.lat_slope_deg_per_m),
                   signed_interval(*view.vert_slope_deg_per_m)});
      }
    }
  }
}

}  // namespace nocktrail::page
