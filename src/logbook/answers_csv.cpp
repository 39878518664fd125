#include "nocktrail/logbook/answers_csv.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "csv.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "words.hpp"

namespace nocktrail::logbook {
namespace {

struct Cell {
  const char* column;
  CsvField field;
};
using Cells = std::vector<Cell>;

CsvField words(const std::string& value) {
  return value.empty() ? CsvField() : CsvField(value);
}

CsvField words(const Value& value) {
  const auto* text = std::get_if<std::string>(&value);
  return text == nullptr ? CsvField() : CsvField(*text);
}

// As many digits as read back to the same number.
CsvField number(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? CsvField(fmt::format("{}", *value)) : CsvField();
}

CsvField truth(bool value) {
  return value ? "true" : "false";
}

void add_measured(Cells& cells, const char* column, const char* u95_column,
                  const std::optional<Measured>& value) {
  cells.push_back({column, value ? number(value->value) : CsvField()});
  cells.push_back({u95_column, value ? number(value->u95) : CsvField()});
}

Cells cells_of(const ShotAnswer& shot) {
  Cells cells = {{"session", words(shot.session)},
                 {"setup", words(shot.setup)},
                 {"clip", words(shot.clip)},
                 {"shot", shot.number > 0 ? CsvField(std::to_string(shot.number)) : CsvField()},
                 {"at", words(shot.at)},
                 {"bow", words(shot.bow)},
                 {"arrow", words(shot.arrow)},
                 {"status", words(shot.status)},
                 {"reason", words(shot.reason)}};
  add_measured(cells, "nock_right_deg", "nock_right_u95_deg", shot.nock_right_deg);
  add_measured(cells, "nock_high_deg", "nock_high_u95_deg", shot.nock_high_deg);
  add_measured(cells, "bow_right_deg", "bow_right_u95_deg", shot.bow_right_deg);
  add_measured(cells, "bow_high_deg", "bow_high_u95_deg", shot.bow_high_deg);
  const Cells rest = {
      {"dropped", words(shot.dropped)}, {"outlier", words(shot.outlier)},
      {"still", words(shot.still)},     {"present", truth(shot.present)},
      {"current", truth(shot.current)}, {"program_version", words(shot.program_version)}};
  cells.insert(cells.end(), rest.begin(), rest.end());
  return cells;
}

void add_summary(Cells& cells, const char* mean, const char* u95, const char* scatter,
                 const std::optional<tune::OffsetSummary>& summary) {
  cells.push_back({mean, summary ? number(summary->mean_deg) : CsvField()});
  cells.push_back({u95, summary ? number(summary->u95_deg) : CsvField()});
  cells.push_back({scatter, summary ? number(summary->scatter_deg) : CsvField()});
}

std::string changes_of(const SetupAnswer& setup) {
  std::vector<std::string> changes;
  if (setup.before) {
    for (const tune::FactLine& line : tune::changed_facts(*setup.before, setup.facts)) {
      changes.push_back(fmt::format("{}: {}", line.what, line.value));
    }
  }
  return fmt::format("{}", fmt::join(changes, "; "));
}

Cells cells_of(const SetupAnswer& setup) {
  const tune::SetupFacts& facts = setup.facts;
  const tune::BowFacts& bow = facts.bow;
  const tune::ArrowFacts& arrow = facts.arrow;
  const std::vector<std::string>& stops = setup.stops;
  Cells cells = {
      {"session", words(setup.session)},
      {"folder", words(setup.folder)},
      {"setup", words(setup.name)},
      {"first_at", words(setup.first_at)},
      {"last_at", words(setup.last_at)},
      {"hand", words(word(facts.hand))},
      {"cant_deg", number(facts.cant_deg)},
      {"draw_m", number(facts.draw_m)},
      {"bow", words(bow.name)},
      {"string", words(bow.string)},
      {"string_mass_kg", number(bow.string_mass_kg)},
      {"draw_weight_n", number(bow.draw_weight_n)},
      {"brace_height_m", number(bow.brace_height_m)},
      {"nocking_point_m", number(bow.nocking_point_m)},
      {"plate_offset_m", number(bow.plate_offset_m)},
      {"arrow", words(arrow.name)},
      {"spine", arrow.spine ? number(arrow.spine->value) : CsvField()},
      {"spine_convention", arrow.spine ? words(word(arrow.spine->convention)) : CsvField()},
      {"shaft_length_m", number(arrow.shaft_length_m)},
      {"tip_mass_kg", number(arrow.tip_mass_kg)},
      {"total_mass_kg", number(arrow.total_mass_kg)},
      {"fletching", words(word(arrow.fletching))},
      {"notes", words(facts.notes)},
      {"changed", words(changes_of(setup))},
      {"shots", std::to_string(setup.counted)},
      {"forgotten", std::to_string(setup.forgotten)},
      {"elsewhere", std::to_string(setup.elsewhere)}};
  add_summary(cells, "lateral_deg", "lateral_u95_deg", "lateral_scatter_deg", setup.lateral);
  add_summary(cells, "vertical_deg", "vertical_u95_deg", "vertical_scatter_deg", setup.vertical);
  const Cells rest = {{"verdict_spine", words(setup.spine)},
                      {"verdict_nocking_point", words(setup.nocking_point)},
                      {"summary", words(setup.summary)},
                      {"stops", words(fmt::format("{}", fmt::join(stops, "; ")))},
                      {"done", truth(setup.done && stops.empty())}};
  cells.insert(cells.end(), rest.begin(), rest.end());
  return cells;
}

Cells cells_of(const Note& note) {
  return {{"at", words(note.at)}, {"bow", words(note.bow)}, {"text", words(note.text)}};
}

Cells cells_of(const ForgottenEntry& entry) {
  return {{"at", words(entry.at)},
          {"session", words(entry.session)},
          {"folder", words(entry.folder)},
          {"setup", words(entry.setup)},
          {"clip", words(entry.clip)},
          {"shot", entry.number > 0 ? CsvField(std::to_string(entry.number)) : CsvField()}};
}

std::string names_line(const Cells& cells) {
  std::vector<CsvField> names;
  for (const Cell& cell : cells) {
    names.emplace_back(cell.column);
  }
  return csv_line(names);
}

std::string line(const Cells& cells) {
  std::vector<CsvField> fields;
  for (const Cell& cell : cells) {
    fields.push_back(cell.field);
  }
  return csv_line(fields);
}

template <typename Answer>
std::string sheet(const std::vector<Answer>& answers) {
  std::string out = names_line(cells_of(Answer{}));
  for (const Answer& answer : answers) {
    out += line(cells_of(answer));
  }
  return out;
}

Cells with_when(const SetupAnswer& setup, const char* when) {
  Cells cells = cells_of(setup);
  cells.insert(cells.begin(), {"when", when});
  return cells;
}

Cells with_difference(const SetupAnswer& setup, const CompareAnswer* ends_at) {
  Cells cells = cells_of(setup);
  cells.push_back({"compared_with", ends_at != nullptr ? words(ends_at->first_setup) : CsvField()});
  add_measured(cells, "lateral_difference_deg", "lateral_difference_u95_deg",
               ends_at != nullptr ? ends_at->lateral_difference_deg : std::nullopt);
  add_measured(cells, "vertical_difference_deg", "vertical_difference_u95_deg",
               ends_at != nullptr ? ends_at->vertical_difference_deg : std::nullopt);
  return cells;
}

}  // namespace

std::string csv(const std::vector<ShotAnswer>& shots) {
  return sheet(shots);
}

std::string csv(const std::vector<SetupAnswer>& setups) {
  return sheet(setups);
}

std::string csv(const std::vector<Note>& notes) {
  return sheet(notes);
}

std::string csv(const std::vector<ForgottenEntry>& entries) {
  return sheet(entries);
}

std::string csv(const BeforeAnswer& answer) {
  std::string out = names_line(with_when({}, ""));
  for (const SetupAnswer& setup : answer.in_force) {
    out += line(with_when(setup, "in-force"));
  }
  for (const SetupAnswer& setup : answer.same_day) {
    out += line(with_when(setup, "same-day"));
  }
  return out;
}

std::string csv(const CompareAnswer& answer) {
  std::string out = names_line(with_difference({}, nullptr));
  for (const SetupAnswer& setup : answer.first.setups) {
    out += line(with_difference(setup, nullptr));
  }
  // The last of that name, as the difference was taken.
  const std::vector<SetupAnswer>& second = answer.second.setups;
  const auto end = std::find_if(second.rbegin(), second.rend(), [&](const SetupAnswer& setup) {
    return setup.session + " / " + setup.name == answer.second_setup;
  });
  for (const SetupAnswer& setup : second) {
    const bool ends_here = end != second.rend() && &setup == &*end;
    out += line(with_difference(setup, ends_here ? &answer : nullptr));
  }
  return out;
}

}  // namespace nocktrail::logbook
