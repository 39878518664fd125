#include "nocktrail/logbook/answers.hpp"

#include <SQLiteCpp/Column.h>
#include <SQLiteCpp/Statement.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>

#include "counted.hpp"
#include "names.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/local_time.hpp"
#include "setup_stops.hpp"
#include "store.hpp"
#include "words.hpp"

namespace nocktrail::logbook {
namespace {

// When a clip was shot, as well as is known.
const char* const kClipTime = R"sql(
  coalesce(clips.filmed_at,
           (SELECT min(read_at) FROM readings AS r WHERE r.clip_id = clips.id),
           (SELECT recorded_at FROM sessions AS s WHERE s.id = clips.session_id)))sql";

// A set-up of which no clip counts is not there: it was renamed, never shot with, forgotten, or is
// a copy of another. Verdicts stay as they were given, whatever became of their shots since.
const char* const kSetups = R"sql(
{counted}, times AS (
  SELECT setup_id, min({clip_time}) AS first_at, max({clip_time}) AS last_at
  FROM clips WHERE id IN (SELECT id FROM counted_clips) GROUP BY setup_id
), judged_shots AS (
  SELECT setup_id, readings.clip_id AS clip_id, clips.forgotten_at IS NOT NULL
    OR (coalesce(sha256, clips.id), number) IN (SELECT content, number FROM forgotten_shots)
      AS forgotten
  FROM readings JOIN clips ON clips.id = readings.clip_id JOIN shots ON shots.id = shot_id
  WHERE current AND status = 'measured' AND present AND clips.dropped IS NULL
    AND shots.dropped IS NULL AND coalesce(readings.view, 'behind') = 'behind'
), judged AS (
  SELECT setup_id, sum(forgotten) AS forgotten,
    sum(NOT forgotten AND clip_id NOT IN (SELECT id FROM counted_clips)) AS elsewhere
  FROM judged_shots GROUP BY setup_id
)
SELECT sessions.name AS session, folder, setups.name AS name,
  first_at, last_at, coalesce(forgotten, 0) AS forgotten, coalesce(elsewhere, 0) AS elsewhere,
  bows.name AS bow, draw_weight_n, rated_draw_m, brace_min_m, brace_max_m, min_grains_per_pound,
  max_draw_m, max_draw_weight_n,
  string, string_mass_kg, brace_height_m, plate_offset_m, nocking_point_m,
  arrows.name AS arrow, spine_convention, arrows.spine AS shaft_spine, groups, diameter_m,
  mass_per_length_kg_per_m, nock_mass_kg, shaft_length_m, arrow_length_m, tip_mass_kg,
  total_mass_kg, fletching, fletching_mass_kg, accepted_nock_height, hand, setups.cant_deg AS cant_deg,
  draw_m, focal_35mm, setups.capture_fps, notes, counted,
  lateral_deg, lateral_u95_deg, lateral_scatter_deg, lateral_freedom,
  vertical_deg, vertical_u95_deg, vertical_scatter_deg, vertical_freedom,
  verdicts.spine AS verdict_spine, verdicts.nocking_point AS verdict_nocking_point, summary,
  coalesce(kind = 'done' AND position =
    (SELECT max(position) FROM setups AS o WHERE o.session_id = sessions.id), 0) AS done
FROM setups
JOIN sessions ON sessions.id = setups.session_id
JOIN bows ON bows.id = bow_id
JOIN arrows ON arrows.id = arrow_id
JOIN times ON times.setup_id = setups.id
LEFT JOIN judged ON judged.setup_id = setups.id
LEFT JOIN verdicts ON verdicts.setup_id = setups.id AND verdicts.current = 1
LEFT JOIN advice ON advice.session_id = sessions.id AND advice.current = 1
ORDER BY setups.session_id, position IS NULL, position, setups.id
)sql";

const char* const kShots = R"sql(
{counted}
SELECT sessions.name AS session, setups.name AS setup, bows.name AS bow, arrows.name AS arrow,
  file, coalesce(number, 0) AS number, {clip_time} AS at, status, reason, nock_right_deg,
  nock_right_u95_deg, nock_high_deg, nock_high_u95_deg,
  bow_right_deg, bow_right_u95_deg, bow_high_deg, bow_high_u95_deg,
  coalesce(clips.dropped, shots.dropped) AS dropped, outlier,
  (SELECT path FROM stills WHERE stills.clip_id = clips.id ORDER BY id DESC LIMIT 1) AS still,
  present, current, program_version
FROM readings
JOIN clips ON clips.id = readings.clip_id
JOIN setups ON setups.id = setup_id
JOIN sessions ON sessions.id = clips.session_id
JOIN bows ON bows.id = bow_id
JOIN arrows ON arrows.id = arrow_id
LEFT JOIN shots ON shots.id = shot_id
WHERE readings.clip_id IN (SELECT id FROM counted_clips)
  AND (coalesce(sha256, clips.id), coalesce(number, 0)) NOT IN
    (SELECT content, number FROM forgotten_shots)
  AND (:history OR current) AND (:bow = '' OR bows.name = :bow COLLATE NOCASE)
  AND (:arrow = '' OR arrows.name = :arrow COLLATE NOCASE)
  AND (:since = '' OR at >= :since) AND (:until = '' OR substr(at, 1, length(:until)) <= :until)
ORDER BY at, file, number, readings.id
)sql";

const char* const kNotes = R"sql(
SELECT at, text, name AS bow FROM notes LEFT JOIN bows ON bows.id = bow_id ORDER BY at, notes.id
)sql";

std::string lower(std::string words) {
  for (char& c : words) {
    c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  }
  return words;
}

std::string words_at(SQLite::Statement& statement, const char* column) {
  const SQLite::Column found = statement.getColumn(column);
  return found.isNull() ? "" : found.getString();
}

std::optional<double> number_at(SQLite::Statement& statement, const std::string& column) {
  const SQLite::Column found = statement.getColumn(column.c_str());
  return found.isNull() ? std::nullopt : std::optional<double>(found.getDouble());
}

std::optional<tune::OffsetSummary> summary_at(SQLite::Statement& statement,
                                              const std::string& name) {
  const std::optional<double> mean = number_at(statement, name + "_deg");
  if (!mean) {
    return std::nullopt;
  }
  tune::OffsetSummary out;
  out.mean_deg = *mean;
  // One shot alone has no scatter, and may have no interval.
  out.u95_deg = number_at(statement, name + "_u95_deg").value_or(std::nan(""));
  out.scatter_deg = number_at(statement, name + "_scatter_deg").value_or(std::nan(""));
  out.freedom = number_at(statement, name + "_freedom").value_or(0.0);
  return out;
}

tune::SetupFacts facts_at(SQLite::Statement& s) {
  tune::SetupFacts facts;
  facts.hand = hand_of(words_at(s, "hand"));
  facts.cant_deg = number_at(s, "cant_deg");
  facts.draw_m = number_at(s, "draw_m");
  facts.notes = words_at(s, "notes");
  facts.camera.focal_35mm = number_at(s, "focal_35mm");
  facts.camera.capture_fps = number_at(s, "capture_fps");
  tune::BowFacts& bow = facts.bow;
  bow.name = words_at(s, "bow");
  bow.string = words_at(s, "string");
  bow.string_mass_kg = number_at(s, "string_mass_kg");
  bow.draw_weight_n = number_at(s, "draw_weight_n");
  bow.rated_draw_m = number_at(s, "rated_draw_m");
  bow.brace_height_m = number_at(s, "brace_height_m");
  bow.brace_min_m = number_at(s, "brace_min_m");
  bow.brace_max_m = number_at(s, "brace_max_m");
  bow.min_grains_per_pound = number_at(s, "min_grains_per_pound");
  bow.max_draw_m = number_at(s, "max_draw_m");
  bow.max_draw_weight_n = number_at(s, "max_draw_weight_n");
  bow.plate_offset_m = number_at(s, "plate_offset_m");
  bow.nocking_point_m = number_at(s, "nocking_point_m");
  tune::ArrowFacts& arrow = facts.arrow;
  arrow.name = words_at(s, "arrow");
  if (const std::optional<double> spine = number_at(s, "shaft_spine")) {
    arrow.spine = tune::SpineTold{spine_convention_of(words_at(s, "spine_convention")), *spine};
  }
  arrow.groups = spine_groups_of(words_at(s, "groups"));
  arrow.shaft_length_m = number_at(s, "shaft_length_m");
  arrow.arrow_length_m = number_at(s, "arrow_length_m");
  arrow.diameter_m = number_at(s, "diameter_m");
  arrow.mass_per_length_kg_per_m = number_at(s, "mass_per_length_kg_per_m");
  arrow.tip_mass_kg = number_at(s, "tip_mass_kg");
  arrow.nock_mass_kg = number_at(s, "nock_mass_kg");
  arrow.total_mass_kg = number_at(s, "total_mass_kg");
  arrow.fletching = fletching_of(words_at(s, "fletching"));
  arrow.fletching_mass_kg = number_at(s, "fletching_mass_kg");
  facts.accepted_nock_height = words_at(s, "accepted_nock_height");
  return facts;
}

SetupAnswer setup_at(SQLite::Statement& s) {
  SetupAnswer a;
  a.session = words_at(s, "session");
  a.folder = words_at(s, "folder");
  a.name = words_at(s, "name");
  a.first_at = words_at(s, "first_at");
  a.last_at = words_at(s, "last_at");
  a.facts = facts_at(s);
  a.counted = s.getColumn("counted").getInt();
  a.forgotten = s.getColumn("forgotten").getInt();
  a.elsewhere = s.getColumn("elsewhere").getInt();
  a.lateral = summary_at(s, "lateral");
  a.vertical = summary_at(s, "vertical");
  a.spine = words_at(s, "verdict_spine");
  a.nocking_point = words_at(s, "verdict_nocking_point");
  a.summary = words_at(s, "summary");
  a.done = s.getColumn("done").getInt() != 0;
  return a;
}

// The columns of a row one after the other: of the many rows of kShots, looking each up by its name
// would take as long as reading it.
class InOrder {
 public:
  explicit InOrder(SQLite::Statement& statement) : statement_(statement) {}
  std::string words() {
    const SQLite::Column found = statement_.getColumn(next_++);
    return found.isNull() ? "" : found.getString();
  }
  int number() { return statement_.getColumn(next_++).getInt(); }
  std::optional<Measured> measured() {
    const SQLite::Column value = statement_.getColumn(next_++);
    const SQLite::Column u95 = statement_.getColumn(next_++);
    return value.isNull() || u95.isNull()
               ? std::nullopt
               : std::optional<Measured>(Measured{value.getDouble(), u95.getDouble()});
  }

 private:
  SQLite::Statement& statement_;
  int next_ = 0;
};

// In the order of kShots.
ShotAnswer shot_at(SQLite::Statement& statement) {
  InOrder row(statement);
  ShotAnswer a;
  a.session = row.words();
  a.setup = row.words();
  a.bow = row.words();
  a.arrow = row.words();
  a.clip = row.words();
  a.number = row.number();
  a.at = row.words();
  a.status = row.words();
  a.reason = row.words();
  a.nock_right_deg = row.measured();
  a.nock_high_deg = row.measured();
  a.bow_right_deg = row.measured();
  a.bow_high_deg = row.measured();
  a.dropped = row.words();
  a.outlier = row.words();
  a.still = row.words();
  a.present = row.number() != 0;
  a.current = row.number() != 0;
  a.program_version = row.words();
  return a;
}

template <typename Answer, typename Make>
std::vector<Answer> all(const Logbook& logbook, const std::string& sql, Make make) {
  return logbook.store().guarded([&] {
    SQLite::Statement statement(logbook.store().database(), sql);
    std::vector<Answer> out;
    while (statement.executeStep()) {
      out.push_back(make(statement));
    }
    return out;
  });
}

// In order of time.
std::vector<SetupAnswer> all_setups(const Logbook& logbook) {
  std::vector<SetupAnswer> out =
      all<SetupAnswer>(logbook,
                       fmt::format(fmt::runtime(kSetups), fmt::arg("counted", kCounted),
                                   fmt::arg("clip_time", kClipTime)),
                       setup_at);
  for (std::size_t i = 1; i < out.size(); ++i) {  // sessions one after the other, as shot
    if (out[i].folder == out[i - 1].folder) {
      out[i].before = out[i - 1].facts;
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const SetupAnswer& a, const SetupAnswer& b) {
    return a.first_at < b.first_at;
  });
  add_stops(out, shots(logbook, {}));
  return out;
}

void check_moment(const char* field, const std::string& at) {
  if (!at.empty() && !is_year_or_month(at) && !is_date(at)) {
    throw BadInput(fmt::format(
        "{}: \"{}\" is not a date; give one as 2026, 2026-11, 2026-11-25 or 2026-11-25T10:30",
        field, at));
  }
}

void check(const Logbook& logbook, const Filter& filter) {
  check_name(logbook, NameKind::bow, filter.bow);
  check_name(logbook, NameKind::arrow, filter.arrow);
  check_moment("since", filter.since);
  check_moment("until", filter.until);
}

bool fits_names(const Filter& filter, const std::string& bow, const std::string& arrow) {
  return (filter.bow.empty() || same_name(filter.bow, bow)) &&
         (filter.arrow.empty() || same_name(filter.arrow, arrow));
}

bool fits_time(const Filter& filter, const std::string& first, const std::string& last) {
  return (filter.since.empty() || last >= filter.since) &&
         (filter.until.empty() || first.substr(0, filter.until.size()) <= filter.until);
}

BeforeAnswer before(const Logbook& logbook, const std::string& at, const std::string& bow,
                    const std::string& until = {}) {
  BeforeAnswer answer;
  answer.at = at;
  std::map<std::string, SetupAnswer> latest;  // by bow
  for (const SetupAnswer& setup : all_setups(logbook)) {
    if (!bow.empty() && !same_name(bow, setup.facts.bow.name)) {
      continue;
    }
    if (setup.first_at < at) {
      latest.insert_or_assign(lower(setup.facts.bow.name), setup);
    } else if ((at.size() == std::string("2026-11-25").size() && setup.first_at.starts_with(at)) ||
               setup.first_at <= until) {
      answer.same_day.push_back(setup);
    }
  }
  for (const auto& [ignored, setup] : latest) {
    answer.in_force.push_back(setup);
  }
  return answer;
}

std::optional<Measured> difference(const std::optional<tune::OffsetSummary>& first,
                                   const std::optional<tune::OffsetSummary>& second) {
  if (!first || !second) {
    return std::nullopt;
  }
  return Measured{second->mean_deg - first->mean_deg, std::hypot(first->u95_deg, second->u95_deg)};
}

ComparedArrow arrow_of(const Logbook& logbook, const std::string& name, const Filter& filter) {
  check_name(logbook, NameKind::arrow, name);
  ComparedArrow out;
  out.name = name;
  Filter of_arrow = filter;
  of_arrow.arrow = name;
  out.setups = setups(logbook, of_arrow);
  for (const SetupAnswer& setup : out.setups) {
    out.counted += std::max(0, setup.counted - setup.forgotten - setup.elsewhere);
  }
  return out;
}

}  // namespace

namespace {

// Spine is judged by the bare shaft: what feathers hide of the same one is no match.
bool bare_says_otherwise(const SetupAnswer& fletched, const SetupAnswer& bare) {
  const tune::ArrowFacts& a = fletched.facts.arrow;
  const tune::ArrowFacts& b = bare.facts.arrow;
  const auto alike = [](const std::optional<double>& one, const std::optional<double>& other) {
    constexpr double kAlike = 1e-3;
    return !one || !other || std::abs(*one - *other) <= kAlike * std::abs(*one);
  };
  return a.fletching == tune::Fletching::fletched && b.fletching == tune::Fletching::bare &&
         fletched.session == bare.session && a.name == b.name &&
         alike(a.shaft_length_m, b.shaft_length_m) && alike(a.tip_mass_kg, b.tip_mass_kg) &&
         alike(a.diameter_m, b.diameter_m) && fletched.facts.bow.name == bare.facts.bow.name &&
         alike(fletched.facts.bow.plate_offset_m, bare.facts.bow.plate_offset_m) &&
         (bare.spine == "weak" || bare.spine == "stiff");
}

}  // namespace

std::vector<ShotAnswer> shots(const Logbook& logbook, const Filter& filter, bool history) {
  check(logbook, filter);
  return logbook.store().guarded([&] {
    SQLite::Statement statement(logbook.store().database(),
                                fmt::format(fmt::runtime(kShots), fmt::arg("counted", kCounted),
                                            fmt::arg("clip_time", kClipTime)));
    statement.bind(":history", history ? 1 : 0);
    statement.bind(":bow", filter.bow);
    statement.bind(":arrow", filter.arrow);
    statement.bind(":since", filter.since);
    statement.bind(":until", filter.until);
    std::vector<ShotAnswer> out;
    while (statement.executeStep()) {
      out.push_back(shot_at(statement));
    }
    return out;
  });
}

std::vector<SetupAnswer> setups(const Logbook& logbook, const Filter& filter) {
  check(logbook, filter);
  std::vector<SetupAnswer> out = all_setups(logbook);
  std::erase_if(out, [&](const SetupAnswer& setup) {
    return !fits_names(filter, setup.facts.bow.name, setup.facts.arrow.name) ||
           !fits_time(filter, setup.first_at, setup.last_at);
  });
  return out;
}

std::vector<SetupAnswer> liked(const Logbook& logbook, const Filter& filter) {
  const std::vector<SetupAnswer> all = setups(logbook, filter);
  std::vector<SetupAnswer> out;
  std::copy_if(all.begin(), all.end(), std::back_inserter(out), [&](const SetupAnswer& setup) {
    const bool straight = setup.spine == "matched" && setup.nocking_point == "level" &&
                          std::none_of(all.begin(), all.end(), [&](const SetupAnswer& other) {
                            return bare_says_otherwise(setup, other);
                          });
    return (setup.done || straight) && setup.stops.empty();
  });
  return out;
}

BeforeAnswer before_date(const Logbook& logbook, const std::string& at, const std::string& bow,
                         const std::string& until) {
  check_name(logbook, NameKind::bow, bow);
  if (!is_date(at)) {
    throw BadInput(fmt::format(
        "before: \"{}\" is not a date; give one as 2026-11-25 or 2026-11-25T10:30", at));
  }
  return before(logbook, at, bow, until);
}

BeforeAnswer before_note(const Logbook& logbook, const std::string& words, const std::string& bow) {
  check_name(logbook, NameKind::bow, bow);
  struct Told {
    std::string at;
    std::string text;
    std::string bow;
  };
  std::optional<Told> latest;
  const auto consider = [&](const Told& told) {
    if (lower(told.text).find(lower(words)) != std::string::npos &&
        (bow.empty() || told.bow.empty() || same_name(bow, told.bow)) &&
        (!latest || told.at >= latest->at)) {
      latest = told;
    }
  };
  for (const Note& note : notes(logbook, {})) {
    consider({note.at, note.text, note.bow});
  }
  for (const SetupAnswer& setup : all_setups(logbook)) {
    if (!setup.facts.notes.empty()) {
      // Written of this set-up: it was in force. The next instant sorts after its last clip.
      consider({setup.last_at + "+", setup.facts.notes, setup.facts.bow.name});
    }
  }
  if (words.empty() || !latest) {
    throw BadInput(
        fmt::format("{}: no note in this logbook holds \"{}\"; `nocktrail logbook notes` lists "
                    "them, `nocktrail logbook before DATE` asks by date",
                    logbook.file().string(), words));
  }
  BeforeAnswer answer = before(logbook, latest->at, bow.empty() ? latest->bow : bow);
  if (answer.at.ends_with('+')) {
    answer.at.pop_back();
  }
  answer.note = latest->text;
  return answer;
}

CompareAnswer compare(const Logbook& logbook, const std::string& first, const std::string& second,
                      const Filter& filter) {
  check(logbook, filter);
  CompareAnswer answer;
  answer.first = arrow_of(logbook, first, filter);
  answer.second = arrow_of(logbook, second, filter);
  // The bow shot last with both.
  const auto judged_last = [](const ComparedArrow& arrow, const std::string& bow) {
    const auto found =
        std::find_if(arrow.setups.rbegin(), arrow.setups.rend(), [&](const SetupAnswer& setup) {
          return setup.lateral.has_value() && same_name(setup.facts.bow.name, bow);
        });
    return found == arrow.setups.rend() ? nullptr : &*found;
  };
  for (auto setup = answer.second.setups.rbegin(); setup != answer.second.setups.rend(); ++setup) {
    const SetupAnswer* a = judged_last(answer.first, setup->facts.bow.name);
    const SetupAnswer* b = judged_last(answer.second, setup->facts.bow.name);
    if (a != nullptr && b != nullptr) {
      answer.bow = setup->facts.bow.name;
      answer.first_setup = a->session + " / " + a->name;
      answer.second_setup = b->session + " / " + b->name;
      answer.lateral_difference_deg = difference(a->lateral, b->lateral);
      answer.vertical_difference_deg = difference(a->vertical, b->vertical);
      break;
    }
  }
  return answer;
}

std::vector<Note> notes(const Logbook& logbook, const Filter& filter) {
  check(logbook, filter);
  std::vector<Note> out = all<Note>(logbook, kNotes, [](SQLite::Statement& s) {
    return Note{words_at(s, "at"), words_at(s, "text"), words_at(s, "bow")};
  });
  std::erase_if(out, [&](const Note& note) {
    return (!filter.bow.empty() && !same_name(note.bow, filter.bow)) ||
           !fits_time(filter, report::utc_of_first(note.at), report::utc_of_last(note.at));
  });
  return out;
}

}  // namespace nocktrail::logbook
