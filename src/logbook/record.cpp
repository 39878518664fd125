// A session into its rows, touching only what differs from what is there.
#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/version.hpp"
#include "store.hpp"
#include "values.hpp"
#include "words.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;

void append(Row& row, Row more) {
  row.insert(row.end(), more.begin(), more.end());
}

Row bow_row(const tune::BowFacts& bow) {
  return {{"name", text(bow.name)},
          {"draw_weight_n", number(bow.draw_weight_n)},
          {"rated_draw_m", number(bow.rated_draw_m)},
          {"brace_min_m", number(bow.brace_min_m)},
          {"brace_max_m", number(bow.brace_max_m)},
          {"min_grains_per_pound", number(bow.min_grains_per_pound)},
          {"max_draw_m", number(bow.max_draw_m)},
          {"max_draw_weight_n", number(bow.max_draw_weight_n)}};
}

Row arrow_row(const tune::ArrowFacts& arrow) {
  return {{"name", text(arrow.name)},
          {"spine_convention", arrow.spine ? word(arrow.spine->convention) : Value()},
          {"spine", arrow.spine ? number(arrow.spine->value) : Value()},
          {"groups", word(arrow.groups)},
          {"diameter_m", number(arrow.diameter_m)},
          {"mass_per_length_kg_per_m", number(arrow.mass_per_length_kg_per_m)},
          {"nock_mass_kg", number(arrow.nock_mass_kg)}};
}

// What can be changed from one set-up to the next.
Row changeable_row(const tune::SetupFacts& facts) {
  return {{"hand", word(facts.hand)},
          {"cant_deg", number(facts.cant_deg)},
          {"draw_m", number(facts.draw_m)},
          {"string", text(facts.bow.string)},
          {"brace_height_m", number(facts.bow.brace_height_m)},
          {"plate_offset_m", number(facts.bow.plate_offset_m)},
          {"nocking_point_m", number(facts.bow.nocking_point_m)},
          {"shaft_length_m", number(facts.arrow.shaft_length_m)},
          {"arrow_length_m", number(facts.arrow.arrow_length_m)},
          {"tip_mass_kg", number(facts.arrow.tip_mass_kg)},
          {"total_mass_kg", number(facts.arrow.total_mass_kg)},
          {"fletching", word(facts.arrow.fletching)},
          {"fletching_mass_kg", number(facts.arrow.fletching_mass_kg)},
          {"accepted_nock_height", text(facts.accepted_nock_height)}};
}

Row measured_row(const std::string& column, const std::string& u95_column,
                 const std::optional<Measured>& measured) {
  return {{column, measured ? number(measured->value) : Value()},
          {u95_column, measured ? number(measured->u95) : Value()}};
}

// The outcome of reading a clip, the same in each of its rows.
Row clip_reading_row(const tune::ClipRecord& clip) {
  const ClipFacts& facts = clip.reading.clip;
  const bool read = clip.reading.status != ClipStatus::error;
  return {{"program_version", text(clip.program_version)},
          {"focal_px", read ? number(clip.reading.camera.focal_px) : Value()},
          {"focal_source", read ? word(clip.reading.camera.source) : Value()},
          {"capture_fps", read ? number(facts.capture_fps) : Value()},
          {"capture_fps_source", read ? word(facts.capture_fps_source) : Value()}};
}

Row shot_reading_row(const Shot& shot) {
  Row row = {{"status", word(shot.status)},
             {"reason", text(shot.reason)},
             {"loose_s", number(shot.loose_s)},
             {"exit_s", number(shot.exit_s)}};
  append(row, measured_row("nock_right_deg", "nock_right_u95_deg", shot.nock_right_deg));
  append(row, measured_row("nock_high_deg", "nock_high_u95_deg", shot.nock_high_deg));
  append(row, {{"right_high_correlation", number(shot.right_high_correlation)}});
  append(row, measured_row("nock_right_slope_deg_per_m", "nock_right_slope_u95_deg_per_m",
                           shot.nock_right_slope_deg_per_m));
  append(row, measured_row("nock_high_slope_deg_per_m", "nock_high_slope_u95_deg_per_m",
                           shot.nock_high_slope_deg_per_m));
  append(row, measured_row("speed_mps", "speed_u95_mps", shot.speed_mps));
  std::optional<Measured> hz;
  std::optional<Measured> mm;
  if (shot.flex) {
    hz = shot.flex->frequency_hz;
    mm = shot.flex->amplitude_mm;
  }
  append(row, measured_row("flex_hz", "flex_u95_hz", hz));
  append(row, measured_row("flex_mm", "flex_u95_mm", mm));
  std::optional<double> cant;
  std::optional<Measured> right;
  std::optional<Measured> high;
  if (shot.in_bow) {
    cant = shot.in_bow->cant_deg;
    right = shot.in_bow->nock_right_deg;
    high = shot.in_bow->nock_high_deg;
  }
  append(row, {{"cant_deg", number(cant)},
               {"cant_u95_deg", shot.bow ? number(shot.bow->cant_deg.u95) : Value()},
               {"cant_source", shot.bow ? word(shot.bow->source) : Value()},
               {"bow_correlation", shot.in_bow ? number(shot.in_bow->correlation) : Value()},
               {"view", word(shot.view)},
               {"read_by", word(shot.by)}});
  append(row, measured_row("bow_right_deg", "bow_right_u95_deg", right));
  append(row, measured_row("bow_high_deg", "bow_high_u95_deg", high));
  append(row, {{"spine", word(shot.verdict.spine)},
               {"nocking_point", word(shot.verdict.nocking_point)},
               {"summary", text(shot.verdict.summary)},
               {"step", text(rules::word(shot.verdict.step))},
               {"next_step", text(shot.verdict.next_step)}});
  return row;
}

std::string lines(const std::vector<std::string>& list) {
  return fmt::format("{}", fmt::join(list, "\n"));
}

void append_summary(Row& row, const std::string& name,
                    const std::optional<tune::OffsetSummary>& of) {
  append(row, {{name + "_deg", of ? number(of->mean_deg) : Value()},
               {name + "_u95_deg", of ? number(of->u95_deg) : Value()},
               {name + "_scatter_deg", of ? number(of->scatter_deg) : Value()},
               {name + "_freedom", of ? number(of->freedom) : Value()}});
}

Row verdict_row(const tune::SetupJudgement& judged) {
  Row row = {{"program_version", text(kVersion)},
             {"counted", whole(judged.counted)},
             {"refused", whole(judged.refused)}};
  append_summary(row, "lateral", judged.lateral);
  append_summary(row, "vertical", judged.vertical);
  append(row, {{"correlation", number(judged.correlation)},
               {"cant_deg", number(judged.bow.cant_deg.value)},
               {"cant_u95_deg", number(judged.bow.cant_deg.u95)},
               {"cant_source", word(judged.bow.source)},
               {"spine", word(judged.spine)},
               {"nocking_point", word(judged.nocking_point)},
               {"summary", text(judged.summary)},
               {"warnings", text(lines(judged.warnings))}});
  return row;
}

Row advice_row(const tune::Step& step) {
  return {
      {"program_version", text(kVersion)},     {"kind", text(rules::word(step.kind))},
      {"amount", number(step.amount)},         {"words", text(step.words)},
      {"because", text(step.because)},         {"overshoot_chance", number(step.overshoot_chance)},
      {"cautions", text(lines(step.cautions))}};
}

// Why the judgement calls a shot of this set-up an outlier, by clip as it names them: "a.mp4", and
// "a.mp4#2" for the second shot of one.
std::map<std::string, std::string> outliers_of(const tune::SessionJudgement& judgement,
                                               const std::string& setup) {
  std::map<std::string, std::string> why;
  for (const tune::SetupJudgement& judged : judgement.setups) {
    if (judged.name != setup) {
      continue;
    }
    for (const tune::JudgedShot& shot : judged.shots) {
      if (shot.outlier) {
        why[shot.clip] = shot.why.empty() ? "far from the others" : shot.why;
      }
    }
  }
  return why;
}

class Recorder {
 public:
  explicit Recorder(SQLite::Database& database) : database_(database), now_(now_utc()) {}

  int readings_added() const { return readings_added_; }

  void record(const tune::SessionRecord& session, const tune::SessionJudgement& judgement) {
    session_id_ = session_row(session);
    std::int64_t position = 0;
    std::set<std::int64_t> setups;
    std::set<std::int64_t> clips;
    const tune::SetupRecord* before = nullptr;
    for (const tune::SetupRecord& setup : session.setups) {
      const std::int64_t id = record_setup(setup, ++position);
      setups.insert(id);
      record_changes(before, setup, id);
      before = &setup;
      outliers_ = outliers_of(judgement, setup.name);
      for (const tune::ClipRecord& clip : setup.clips) {
        record_clip(clip, id, clips);
      }
    }
    mark_missing("setups", setups, {{"position", Value()}});
    mark_missing("clips", clips, {{"present", whole(0)}});
    for (const tune::SetupJudgement& judged : judgement.setups) {
      if (const auto id =
              find(database_, "setups",
                   {{"session_id", whole(session_id_)}, {"name", setup_name(judged.name)}})) {
        add_if_new("verdicts", {{"setup_id", whole(*id)}}, verdict_row(judged), "judged_at");
      }
    }
    add_if_new("advice", {{"session_id", whole(session_id_)}}, advice_row(judgement.next),
               "advised_at");
  }

 private:
  // A name is never NULL: the folder itself is ".".
  static Value setup_name(const std::string& name) { return text(name.empty() ? "." : name); }

  std::int64_t session_row(const tune::SessionRecord& session) {
    const Row by_folder = {{"folder", text(session.folder.empty() ? "." : session.folder)}};
    std::optional<std::int64_t> id = find(database_, "sessions", by_folder);
    if (!id) {
      id = moved_session(session);
    }
    Row row = by_folder;
    append(row, {{"name", text(session.name)}});
    if (id) {
      update(database_, "sessions", *id, row);
      return *id;
    }
    append(row, {{"recorded_at", text(now_)}});
    return insert(database_, "sessions", row);
  }

  // The session that shares a clip with this one and whose folder is no longer on the disk.
  std::optional<std::int64_t> moved_session(const tune::SessionRecord& session) {
    SQLite::Statement statement(
        database_,
        "SELECT sessions.id, folder FROM sessions JOIN clips ON session_id = sessions.id "
        "WHERE sha256 = ?");
    for (const tune::SetupRecord& setup : session.setups) {
      for (const tune::ClipRecord& clip : setup.clips) {
        statement.reset();
        statement.bind(1, clip.sha256);
        while (statement.executeStep()) {
          std::error_code error;
          if (!fs::exists(statement.getColumn(1).getString(), error) && !error) {
            return std::int64_t{statement.getColumn(0).getInt64()};
          }
        }
      }
    }
    return std::nullopt;
  }

  std::int64_t record_setup(const tune::SetupRecord& setup, std::int64_t position) {
    const tune::SetupFacts& facts = setup.facts;
    Row row = {{"position", whole(position)},
               {"bow_id", whole(find_or_insert(database_, "bows", bow_row(facts.bow)))},
               {"arrow_id", whole(find_or_insert(database_, "arrows", arrow_row(facts.arrow)))}};
    append(row, changeable_row(facts));
    append(row, {{"focal_35mm", number(facts.camera.focal_35mm)},
                 {"capture_fps", number(facts.camera.capture_fps)},
                 {"notes", text(facts.notes)}});
    return upsert(database_, "setups",
                  {{"session_id", whole(session_id_)}, {"name", setup_name(setup.name)}}, row);
  }

  void record_changes(const tune::SetupRecord* before, const tune::SetupRecord& after,
                      std::int64_t setup_id) {
    std::set<std::int64_t> kept;
    const auto keep = [&](const std::string& what, const Value& old_value, const Value& new_value) {
      const auto as_number = [](const Value& v) {
        return std::holds_alternative<double>(v) ? v : Value();
      };
      const auto as_text = [](const Value& v) {
        return std::holds_alternative<std::string>(v) ? v : Value();
      };
      kept.insert(upsert(database_, "changes",
                         {{"setup_id", whole(setup_id)}, {"what", text(what)}},
                         {{"before_number", as_number(old_value)},
                          {"after_number", as_number(new_value)},
                          {"before_text", as_text(old_value)},
                          {"after_text", as_text(new_value)}}));
    };
    if (before != nullptr) {
      const tune::SetupFacts& was = before->facts;
      const tune::SetupFacts& is = after.facts;
      const Row old_row = changeable_row(was);
      const Row new_row = changeable_row(is);
      for (std::size_t i = 0; i < old_row.size(); ++i) {
        if (old_row[i].value != new_row[i].value) {
          keep(old_row[i].column, old_row[i].value, new_row[i].value);
        }
      }
      if (was.bow.name != is.bow.name) {
        keep("bow", text(was.bow.name), text(is.bow.name));
      }
      if (was.arrow.name != is.arrow.name) {
        keep("arrow", text(was.arrow.name), text(is.arrow.name));
      }
    }
    SQLite::Statement old_ones(database_, "SELECT id FROM changes WHERE setup_id = ?");
    old_ones.bind(1, setup_id);
    std::vector<std::int64_t> gone;
    while (old_ones.executeStep()) {
      const std::int64_t id = old_ones.getColumn(0).getInt64();
      if (!kept.contains(id)) {
        gone.push_back(id);
      }
    }
    for (const std::int64_t id : gone) {
      SQLite::Statement remove(database_, "DELETE FROM changes WHERE id = ?");
      remove.bind(1, id);
      remove.exec();
    }
  }

  void record_clip(const tune::ClipRecord& clip, std::int64_t setup_id,
                   std::set<std::int64_t>& done) {
    Row key = {{"session_id", whole(session_id_)}, {"sha256", text(clip.sha256)}};
    if (clip.sha256.empty()) {  // could not be read: known by where it lies
      append(key, {{"setup_id", whole(setup_id)}, {"file", file_of(clip)}});
    }
    const std::optional<std::int64_t> found = find(database_, "clips", key);
    if (found && done.contains(*found)) {
      return;  // a second copy of the same clip
    }
    Row row = clip_row(clip);
    keep_earliest_time(row, found);
    if (!clip.sha256.empty()) {  // may have been renamed or moved to another set-up
      append(row, {{"setup_id", whole(setup_id)}, {"file", file_of(clip)}});
    }
    const std::int64_t id = upsert(database_, "clips", key, row);
    done.insert(id);
    record_readings(clip, id);
    if (!clip.still.empty()) {
      find_or_insert(database_, "stills", {{"clip_id", whole(id)}, {"path", text(clip.still)}});
    }
  }

  // A file's time is often all that is known, and copying the folder makes it later, never earlier.
  void keep_earliest_time(Row& row, const std::optional<std::int64_t>& clip_id) {
    if (!clip_id) {
      return;
    }
    SQLite::Statement statement(database_, "SELECT filmed_at FROM clips WHERE id = ?");
    statement.bind(1, *clip_id);
    statement.executeStep();
    const Value known = value_at(statement, 0);
    Value& told = row.front().value;
    const auto* known_at = std::get_if<std::string>(&known);
    const auto* told_at = std::get_if<std::string>(&told);
    if (known_at != nullptr && (told_at == nullptr || *known_at < *told_at)) {
      told = known;
    }
  }

  static Value file_of(const tune::ClipRecord& clip) {
    return text(clip.file.empty() ? "?" : clip.file);
  }

  static Row clip_row(const tune::ClipRecord& clip) {
    return {{"filmed_at", text(clip.filmed_at_utc)},
            {"present", whole(1)},
            {"dropped", text(clip.dropped)},
            {"hand", word(clip.hand)},
            {"cant_deg", number(clip.cant_deg)}};
  }

  std::int64_t record_shot(const tune::ClipRecord& clip, std::int64_t clip_id,
                           std::int64_t number_in_clip) {
    const std::string name =
        number_in_clip == 1 ? clip.file : fmt::format("{}#{}", clip.file, number_in_clip);
    const auto outlier = outliers_.find(name);
    const auto dropped = clip.dropped_shots.find(static_cast<int>(number_in_clip));
    return upsert(
        database_, "shots", {{"clip_id", whole(clip_id)}, {"number", whole(number_in_clip)}},
        {{"outlier", outlier == outliers_.end() ? Value() : text(outlier->second)},
         {"dropped", dropped == clip.dropped_shots.end() ? Value() : text(dropped->second)}});
  }

  void record_readings(const tune::ClipRecord& clip, std::int64_t clip_id) {
    std::vector<Row> rows;
    const Row common = clip_reading_row(clip);
    std::int64_t number_in_clip = 0;
    for (const Shot& shot : clip.reading.shots) {
      Row row = common;
      append(row, {{"clip_id", whole(clip_id)},
                   {"shot_id", whole(record_shot(clip, clip_id, ++number_in_clip))}});
      append(row, shot_reading_row(shot));
      rows.push_back(row);
    }
    if (rows.empty()) {
      Row row = common;
      append(row, {{"clip_id", whole(clip_id)},
                   {"shot_id", Value()},
                   {"status", word(clip.reading.status)},
                   {"reason", text(clip.reading.reason)}});
      rows.push_back(row);
    }
    const auto is_known = [this](Row row) {
      append(row, {{"current", whole(1)}});
      return find(database_, "readings", row).has_value();
    };
    SQLite::Statement count(database_,
                            "SELECT count(*) FROM readings WHERE clip_id = ? AND current = 1");
    count.bind(1, clip_id);
    count.executeStep();
    if (count.getColumn(0).getInt64() == static_cast<std::int64_t>(rows.size()) &&
        std::all_of(rows.begin(), rows.end(), is_known)) {
      return;
    }
    SQLite::Statement retire(database_,
                             "UPDATE readings SET current = 0 WHERE clip_id = ? AND current = 1");
    retire.bind(1, clip_id);
    retire.exec();
    for (Row& row : rows) {
      append(row, {{"current", whole(1)}, {"read_at", text(clip.read_at_utc)}});
      insert(database_, "readings", row);
      ++readings_added_;
    }
  }

  // The current row of `key` is replaced as the current one, when `row` says something else.
  void add_if_new(const std::string& table, const Row& key, const Row& row,
                  const std::string& time_column) {
    Row current = key;
    append(current, {{"current", whole(1)}});
    Row wanted = current;
    append(wanted, row);
    if (find(database_, table, wanted)) {
      return;
    }
    if (const std::optional<std::int64_t> old = find(database_, table, current)) {
      update(database_, table, *old, {{"current", whole(0)}});
    }
    append(wanted, {{time_column, text(now_)}});
    insert(database_, table, wanted);
  }

  // What the session's `table` holds beside `seen` gets `mark`.
  void mark_missing(const std::string& table, const std::set<std::int64_t>& seen, const Row& mark) {
    SQLite::Statement statement(database_,
                                fmt::format("SELECT id FROM {} WHERE session_id = ?", table));
    statement.bind(1, session_id_);
    std::vector<std::int64_t> missing;
    while (statement.executeStep()) {
      const std::int64_t id = statement.getColumn(0).getInt64();
      if (!seen.contains(id)) {
        missing.push_back(id);
      }
    }
    for (const std::int64_t id : missing) {
      update(database_, table, id, mark);
    }
  }

  SQLite::Database& database_;
  std::string now_;
  std::int64_t session_id_ = 0;
  std::map<std::string, std::string> outliers_;  // of the set-up at hand
  int readings_added_ = 0;
};

}  // namespace

Recorded Logbook::record(const tune::SessionRecord& session,
                         const tune::SessionJudgement& judgement) {
  return store_->guarded([&] {
    SQLite::Database& database = store_->database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    const int before = database.getTotalChanges();
    Recorder recorder(database);
    recorder.record(session, judgement);
    const int changed = database.getTotalChanges() - before;
    transaction.commit();
    return Recorded{recorder.readings_added(), changed};
  });
}

}  // namespace nocktrail::logbook
