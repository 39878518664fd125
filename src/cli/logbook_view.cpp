#include "logbook_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "nocktrail/report/lines.hpp"
#include "nocktrail/report/local_time.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "nocktrail/units/units.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

using logbook::BeforeAnswer;
using logbook::CompareAnswer;
using logbook::ComparedArrow;
using logbook::ForgottenEntry;
using logbook::Note;
using logbook::SetupAnswer;
using logbook::ShotAnswer;
using report::TextTable;
using rules::printable;
using Json = nlohmann::ordered_json;

// "2026-05-30 12:00 CEST" of "2026-05-30T10:00:00Z".
std::string time_words(const std::string& at) {
  return printable(report::local_words(at));
}

// "2026-05-30 12:00 to 2026-05-30 12:05 CEST": the zone once, unless clocks changed meanwhile.
std::string span_words(const SetupAnswer& setup) {
  std::string first = time_words(setup.first_at);
  const std::string last = time_words(setup.last_at);
  if (first == last) {
    return first;
  }
  const auto zone_of = [](const std::string& words) { return words.substr(words.rfind(' ') + 1); };
  if (zone_of(first) == zone_of(last)) {
    first.erase(first.rfind(' '));
  }
  return fmt::format("{} to {}", first, last);
}

std::string or_unnamed(const std::string& name) {
  return name.empty() ? "(no name)" : printable(name);
}

std::string place_words(const std::string& session, const std::string& setup) {
  return setup == "." ? or_unnamed(session)
                      : fmt::format("{} / {}", or_unnamed(session), printable(setup));
}

std::optional<Measured> mean_of(const std::optional<tune::OffsetSummary>& summary) {
  return summary ? std::optional<Measured>(Measured{summary->mean_deg, summary->u95_deg})
                 : std::nullopt;
}

// `words` of a measured offset; of one without an interval, the side and size alone.
template <typename Words>
std::string offset_words(const std::optional<Measured>& offset, Words words) {
  if (!offset) {
    return "-";
  }
  if (std::isfinite(offset->u95)) {
    return words(*offset);
  }
  std::string out = words(Measured{offset->value, 0.0});
  const std::string zero = " \u00b1 0.00";
  const std::size_t at = out.find(zero);
  return at == std::string::npos ? out : out.erase(at, zero.size()) + " (no interval)";
}

std::string count_words(int count, const char* one, const char* many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

std::string remarks(const ShotAnswer& shot) {
  std::vector<std::string> out;
  if (shot.status != "measured") {
    out.push_back(printable(shot.reason.empty() ? shot.status
                                                : fmt::format("{}: {}", shot.status, shot.reason)));
  }
  if (shot.status == "measured" && !shot.bow_right_deg && shot.nock_right_deg &&
      shot.nock_high_deg) {
    out.push_back(fmt::format("cant not known; as seen from behind, upright: {}, {}",
                              rules::lateral_words(*shot.nock_right_deg),
                              rules::vertical_words(*shot.nock_high_deg)));
  }
  if (!shot.dropped.empty()) {
    out.push_back(fmt::format("left out: {}", printable(shot.dropped)));
  }
  if (!shot.outlier.empty()) {
    out.push_back(fmt::format("outlier: {}", printable(shot.outlier)));
  }
  if (!shot.present) {
    out.push_back("clip no longer in the folder");
  }
  if (!shot.current) {
    out.push_back(fmt::format("older reading, by nocktrail {}", printable(shot.program_version)));
  }
  return fmt::format("{}", fmt::join(out, "; "));
}

std::string setup_block(const SetupAnswer& setup) {
  std::string out =
      fmt::format("{}: {}\n", place_words(setup.session, setup.name), span_words(setup));
  for (const std::string& stop : setup.stops) {
    out += fmt::format("  {}\n", stop);
  }
  if (setup.lateral || setup.vertical) {
    out += fmt::format("  Offset to the bow: {}, {}; scatter {} and {} deg; {}\n",
                       offset_words(mean_of(setup.lateral), rules::lateral_words),
                       offset_words(mean_of(setup.vertical), rules::vertical_words),
                       tune::scatter_words(setup.lateral, setup.counted),
                       tune::scatter_words(setup.vertical, setup.counted),
                       count_words(setup.counted, "shot", "shots"));
  }
  if (setup.forgotten > 0) {
    out += fmt::format("  {} of these forgotten since; the verdict was given with {}\n",
                       setup.forgotten, setup.forgotten == 1 ? "it" : "them");
  }
  if (setup.elsewhere > 0) {
    out +=
        fmt::format("  {} of these also in another folder, and counted there\n", setup.elsewhere);
  }
  if (!setup.spine.empty()) {
    out += fmt::format("  Verdict: spine {}{}, nocking point {}\n", printable(setup.spine),
                       setup.facts.arrow.fletching == tune::Fletching::fletched
                           ? " as fletched (the bare shaft decides)"
                           : "",
                       printable(setup.nocking_point));
  }
  if (setup.done && setup.stops.empty()) {
    out += "  Nothing was left to do at this set-up.\n";
  }
  if (setup.before) {
    for (const tune::FactLine& line : tune::changed_facts(*setup.before, setup.facts)) {
      out += fmt::format("  Changed: {}: {}\n", line.what, printable(line.value));
    }
  }
  for (const tune::FactLine& line : tune::fact_lines(setup.facts)) {
    out += fmt::format("  {}: {}\n", line.what, printable(line.value));
  }
  return out;
}

std::string blocks(const std::vector<SetupAnswer>& setups) {
  std::string out;
  for (const SetupAnswer& setup : setups) {
    out += out.empty() ? "" : "\n";
    out += setup_block(setup);
  }
  return out;
}

std::string arrow_text(const ComparedArrow& arrow) {
  std::string out = fmt::format(
      "{}: {} in {}\n", printable(arrow.name), count_words(arrow.counted, "shot", "shots"),
      count_words(static_cast<int>(arrow.setups.size()), "set-up", "set-ups"));
  TextTable table({"Set-up", "Bow", "Shaft", "Tip", "Shots", "Sideways to the bow", "Scatter",
                   "Along the bow", "Scatter"});
  const auto length = [](const std::optional<double>& m) {
    return m ? units::format_length(*m, units::LengthUnit::in, 5) : std::string("-");
  };
  for (const SetupAnswer& setup : arrow.setups) {
    const std::optional<double>& tip = setup.facts.arrow.tip_mass_kg;
    table.add({place_words(setup.session, setup.name), or_unnamed(setup.facts.bow.name),
               length(setup.facts.arrow.shaft_length_m),
               tip ? units::format_mass(*tip, units::MassUnit::gr, 4) : "-",
               std::to_string(setup.counted),
               offset_words(mean_of(setup.lateral), rules::lateral_words),
               tune::scatter_words(setup.lateral, setup.counted),
               offset_words(mean_of(setup.vertical), rules::vertical_words),
               tune::scatter_words(setup.vertical, setup.counted)});
  }
  return out + table.text(terminal_columns());
}

std::string difference_words(const char* name, const std::optional<Measured>& difference,
                             const char* negative, const char* positive) {
  if (!difference) {
    return "";
  }
  if (!std::isfinite(difference->u95)) {
    return fmt::format("  {}: {:.2f} deg {}, without an interval (one shot tells no scatter)\n",
                       name, std::abs(difference->value),
                       difference->value < 0.0 ? negative : positive);
  }
  return fmt::format(
      "  {}: {} deg {}{}\n", name,
      rules::with_interval(std::abs(difference->value), difference->u95),
      difference->value < 0.0 ? negative : positive,
      std::abs(difference->value) > difference->u95 ? "" : ", which may be none at all");
}

Json words(const std::string& value) {
  return value.empty() ? Json() : Json(value);
}

Json number(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? Json(*value) : Json();
}

Json measured(const std::optional<Measured>& value) {
  return value ? Json{{"value", value->value}, {"u95", number(value->u95)}} : Json();
}

Json summary(const std::optional<tune::OffsetSummary>& value) {
  return value ? Json{{"mean", value->mean_deg},
                      {"u95", number(value->u95_deg)},
                      {"scatter", number(value->scatter_deg)}}
               : Json();
}

Json hand_json(Hand hand) {
  return hand == Hand::right ? Json("right") : hand == Hand::left ? Json("left") : Json();
}

Json setup_json(const SetupAnswer& setup) {
  const tune::SetupFacts& facts = setup.facts;
  const bool wood =
      facts.arrow.spine && facts.arrow.spine->convention == tune::SpineConvention::wood_pounds;
  const Json fletching = facts.arrow.fletching == tune::Fletching::bare       ? Json("bare")
                         : facts.arrow.fletching == tune::Fletching::fletched ? Json("fletched")
                                                                              : Json();
  Json out;
  out["session"] = words(setup.session);
  out["folder"] = words(setup.folder);
  out["setup"] = setup.name;
  out["first_at"] = words(setup.first_at);
  out["last_at"] = words(setup.last_at);
  out["hand"] = hand_json(facts.hand);
  out["cant_deg"] = number(facts.cant_deg);
  out["draw_m"] = number(facts.draw_m);
  out["bow"] = {{"name", words(facts.bow.name)},
                {"string", words(facts.bow.string)},
                {"string_mass_kg", number(facts.bow.string_mass_kg)},
                {"draw_weight_n", number(facts.bow.draw_weight_n)},
                {"brace_height_m", number(facts.bow.brace_height_m)},
                {"nocking_point_m", number(facts.bow.nocking_point_m)},
                {"plate_offset_m", number(facts.bow.plate_offset_m)}};
  out["arrow"] = {{"name", words(facts.arrow.name)},
                  {"spine", facts.arrow.spine ? number(facts.arrow.spine->value) : Json()},
                  {"spine_convention",
                   facts.arrow.spine ? Json(wood ? "wood-pounds" : "deflection-in") : Json()},
                  {"shaft_length_m", number(facts.arrow.shaft_length_m)},
                  {"tip_mass_kg", number(facts.arrow.tip_mass_kg)},
                  {"total_mass_kg", number(facts.arrow.total_mass_kg)},
                  {"fletching", fletching}};
  out["notes"] = words(facts.notes);
  out["changed"] = Json::array();
  if (setup.before) {
    for (const tune::FactLine& line : tune::changed_facts(*setup.before, facts)) {
      out["changed"].push_back({{"what", line.what}, {"to", line.value}});
    }
  }
  out["shots"] = setup.counted;
  out["lateral_deg"] = summary(setup.lateral);
  out["vertical_deg"] = summary(setup.vertical);
  out["spine"] = words(setup.spine);
  out["nocking_point"] = words(setup.nocking_point);
  out["summary"] = words(setup.summary);
  out["stops"] = setup.stops;
  out["done"] = setup.done && setup.stops.empty();
  out["forgotten"] = setup.forgotten;
  out["elsewhere"] = setup.elsewhere;
  return out;
}

Json arrow_json(const ComparedArrow& arrow) {
  return {{"name", arrow.name}, {"shots", arrow.counted}, {"setups", json(arrow.setups)}};
}

}  // namespace

std::string text(const std::vector<ShotAnswer>& shots) {
  if (shots.empty()) {
    return "No shots.\n";
  }
  TextTable table({"Time", "Set-up", "Clip", "Bow", "Arrow", "Sideways to the bow", "Along the bow",
                   "Remarks"});
  for (const ShotAnswer& shot : shots) {
    table.add({time_words(shot.at), place_words(shot.session, shot.setup),
               shot.number > 1 ? fmt::format("{}#{}", printable(shot.clip), shot.number)
                               : printable(shot.clip),
               or_unnamed(shot.bow), or_unnamed(shot.arrow),
               offset_words(shot.bow_right_deg, rules::lateral_words),
               offset_words(shot.bow_high_deg, rules::vertical_words), remarks(shot)});
  }
  return table.text(terminal_columns());
}

std::string text(const std::vector<SetupAnswer>& setups) {
  return setups.empty() ? "No set-ups.\n" : blocks(setups);
}

std::string text(const BeforeAnswer& answer) {
  std::string out = fmt::format("Before {}", time_words(answer.at));
  out += answer.note.empty() ? "\n" : fmt::format(", by the note \"{}\"\n", printable(answer.note));
  out += "\n";
  out += answer.in_force.empty() ? "No set-up was begun before then.\n" : blocks(answer.in_force);
  if (!answer.same_day.empty()) {
    out += "\nBegun on that same day, before or after (no time of day was given):\n\n";
    out += blocks(answer.same_day);
  }
  return out;
}

std::string text(const CompareAnswer& answer) {
  std::string out = arrow_text(answer.first) + "\n" + arrow_text(answer.second) + "\n";
  if (!answer.lateral_difference_deg && !answer.vertical_difference_deg) {
    return out + "No bow shot both, so nothing is said of the difference.\n";
  }
  out +=
      fmt::format("On the bow {}, the nock of {} ({}) against {} ({}):\n", or_unnamed(answer.bow),
                  printable(answer.second.name), printable(answer.second_setup),
                  printable(answer.first.name), printable(answer.first_setup));
  out +=
      difference_words("Lateral", answer.lateral_difference_deg, "further left", "further right");
  out += difference_words("Vertical", answer.vertical_difference_deg, "lower", "higher");
  return out;
}

std::string text(const std::vector<Note>& notes) {
  std::string out;
  for (const Note& note : notes) {
    out += fmt::format("{}{}: {}\n", time_words(note.at),
                       note.bow.empty() ? "" : fmt::format(", {}", printable(note.bow)),
                       printable(note.text));
  }
  return out.empty() ? "No notes.\n" : out;
}

std::string text(const ForgottenEntry& entry) {
  const std::string session =
      entry.session.empty() ? printable(entry.folder) : printable(entry.session);
  if (entry.clip.empty()) {
    return fmt::format("session {} ({})", session, printable(entry.folder));
  }
  return fmt::format("{} / {}{}", place_words(session, entry.setup), printable(entry.clip),
                     entry.number > 0 ? fmt::format(", shot {}", entry.number) : "");
}

std::string text(const std::vector<ForgottenEntry>& entries) {
  std::string out;
  for (const ForgottenEntry& entry : entries) {
    out += fmt::format("{}: {}\n", time_words(entry.at), text(entry));
  }
  return out.empty() ? "Nothing is forgotten.\n" : out;
}

Json json(const std::vector<ShotAnswer>& shots) {
  Json list = Json::array();
  for (const ShotAnswer& shot : shots) {
    Json out;
    out["session"] = words(shot.session);
    out["setup"] = shot.setup;
    out["clip"] = shot.clip;
    out["shot"] = shot.number > 0 ? Json(shot.number) : Json();
    out["at"] = words(shot.at);
    out["bow"] = words(shot.bow);
    out["arrow"] = words(shot.arrow);
    out["status"] = shot.status;
    out["reason"] = words(shot.reason);
    out["nock_right_deg"] = measured(shot.nock_right_deg);
    out["nock_high_deg"] = measured(shot.nock_high_deg);
    out["in_bow"] = shot.bow_right_deg && shot.bow_high_deg
                        ? Json{{"nock_right_deg", measured(shot.bow_right_deg)},
                               {"nock_high_deg", measured(shot.bow_high_deg)}}
                        : Json();
    out["dropped"] = words(shot.dropped);
    out["outlier"] = words(shot.outlier);
    out["still"] = words(shot.still);
    out["present"] = shot.present;
    out["current"] = shot.current;
    out["program_version"] = words(shot.program_version);
    list.push_back(std::move(out));
  }
  return list;
}

Json json(const std::vector<SetupAnswer>& setups) {
  Json list = Json::array();
  for (const SetupAnswer& setup : setups) {
    list.push_back(setup_json(setup));
  }
  return list;
}

Json json(const BeforeAnswer& answer) {
  return {{"before", answer.at},
          {"note", words(answer.note)},
          {"in_force", json(answer.in_force)},
          {"same_day", json(answer.same_day)}};
}

Json json(const CompareAnswer& answer) {
  return {{"first", arrow_json(answer.first)},
          {"second", arrow_json(answer.second)},
          {"bow", words(answer.bow)},
          {"first_setup", words(answer.first_setup)},
          {"second_setup", words(answer.second_setup)},
          {"lateral_difference_deg", measured(answer.lateral_difference_deg)},
          {"vertical_difference_deg", measured(answer.vertical_difference_deg)}};
}

Json json(const std::vector<Note>& notes) {
  Json list = Json::array();
  for (const Note& note : notes) {
    list.push_back({{"at", note.at}, {"bow", words(note.bow)}, {"text", note.text}});
  }
  return list;
}

Json json(const std::vector<ForgottenEntry>& entries) {
  Json list = Json::array();
  for (const ForgottenEntry& entry : entries) {
    list.push_back({{"at", entry.at},
                    {"session", words(entry.session)},
                    {"folder", words(entry.folder)},
                    {"setup", words(entry.setup)},
                    {"clip", words(entry.clip)},
                    {"shot", entry.number > 0 ? Json(entry.number) : Json()}});
  }
  return list;
}

}  // namespace nocktrail::cli
