// A session into its rows, touching only what differs from what is there.
#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <utility>

#include "names.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "rows.hpp"
#include "store.hpp"
#include "values.hpp"
#include "words.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;

class Recorder {
 public:
  explicit Recorder(SQLite::Database& database) : database_(database), now_(now_utc()) {}

  int readings_added() const { return readings_added_; }
  bool forgotten() const { return forgotten_; }

  void record(const tune::SessionRecord& session, const tune::SessionJudgement& judgement) {
    if (!find_session(session)) {
      if (std::all_of(session.setups.begin(), session.setups.end(),
                      [](const tune::SetupRecord& setup) { return setup.clips.empty(); })) {
        return;  // nothing was shot yet
      }
    }
    session_row(session);
    std::int64_t position = 0;
    std::set<std::int64_t> setups;
    std::set<std::int64_t> clips;
    const tune::SetupRecord* before = nullptr;
    for (const tune::SetupRecord& setup : session.setups) {
      ++position;
      if (setup.clips.empty() && !find(database_, "setups", setup_key(setup))) {
        continue;  // begun, and not shot with yet
      }
      const std::int64_t id = record_setup(setup, position);
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
    drop_other_stills();
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

  Row setup_key(const tune::SetupRecord& setup) const {
    return {{"session_id", whole(session_id_)}, {"name", setup_name(setup.name)}};
  }

  static Row folder_row(const tune::SessionRecord& session) {
    return {{"folder", text(session.folder.empty() ? "." : session.folder)}};
  }

  bool find_session(const tune::SessionRecord& session) {
    std::optional<std::int64_t> id = find(database_, "sessions", folder_row(session));
    if (!id) {
      id = moved_session(session);
    }
    session_id_ = id.value_or(0);
    return id.has_value();
  }

  void session_row(const tune::SessionRecord& session) {
    Row row = folder_row(session);
    append(row, {{"name", text(session.name)}});
    if (session_id_ != 0) {
      update(database_, "sessions", session_id_, row);
      forgotten_ =
          !find(database_, "sessions", {{"id", whole(session_id_)}, {"forgotten_at", Value()}});
      return;
    }
    append(row, {{"recorded_at", text(now_)}});
    session_id_ = insert(database_, "sessions", row);
  }

  // The session whose folder is no longer on the disk and most of whose clips are in this one. A
  // single clip in common is not enough: a merged logbook holds folders of other computers, and a
  // folder of chosen clips is no such session moved.
  std::optional<std::int64_t> moved_session(const tune::SessionRecord& session) {
    std::set<std::string> contents;
    for (const tune::SetupRecord& setup : session.setups) {
      for (const tune::ClipRecord& clip : setup.clips) {
        contents.insert(clip.sha256);
      }
    }
    SQLite::Statement sharing(
        database_,
        "SELECT DISTINCT sessions.id, folder FROM sessions JOIN clips ON session_id = sessions.id "
        "WHERE sha256 = ?");
    SQLite::Statement held(database_,
                           "SELECT DISTINCT sha256 FROM clips WHERE session_id = ? AND present");
    std::set<std::int64_t> looked_at;
    for (const std::string& content : contents) {
      sharing.reset();
      sharing.bind(1, content);
      while (sharing.executeStep()) {
        const std::int64_t id = sharing.getColumn(0).getInt64();
        std::error_code error;
        if (!looked_at.insert(id).second || fs::exists(sharing.getColumn(1).getString(), error) ||
            error) {
          continue;
        }
        std::size_t all = 0;
        std::size_t here = 0;
        held.reset();
        held.bind(1, id);
        while (held.executeStep()) {
          ++all;
          here += contents.contains(held.getColumn(0).getString()) ? 1 : 0;
        }
        if (2 * here > all) {
          return id;
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
    return upsert(database_, "setups", setup_key(setup), row);
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
      stills_[id] = std::get<std::string>(text(clip.still));  // as it is in the table
    }
  }

  // A still that was drawn otherwise is gone, and one of a clip that left shows another one where
  // that has its name now.
  void drop_other_stills() {
    std::set<std::string> paths;
    for (const auto& [ignored, path] : stills_) {
      paths.insert(path);
    }
    SQLite::Statement statement(
        database_,
        "SELECT stills.id, clip_id, path FROM stills JOIN clips ON clips.id "
        "= clip_id WHERE session_id = ?");
    statement.bind(1, session_id_);
    std::vector<std::int64_t> gone;
    while (statement.executeStep()) {
      const std::string path = statement.getColumn(2).getString();
      const auto now = stills_.find(statement.getColumn(1).getInt64());
      if (now == stills_.end() ? paths.contains(path) : now->second != path) {
        gone.push_back(statement.getColumn(0).getInt64());
      }
    }
    for (const std::int64_t id : gone) {
      SQLite::Statement remove(database_, "DELETE FROM stills WHERE id = ?");
      remove.bind(1, id);
      remove.exec();
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
    const int number = static_cast<int>(number_in_clip);
    const auto dropped = clip.dropped_shots.find(number);
    const auto same = clip.same_as.find(number);
    return upsert(database_, "shots",
                  {{"clip_id", whole(clip_id)}, {"number", whole(number_in_clip)}},
                  {{"outlier", outlier == outliers_.end() ? Value() : text(outlier->second)},
                   {"dropped", dropped != clip.dropped_shots.end() ? text(dropped->second)
                               : same != clip.same_as.end()        ? text(same->second)
                                                                   : Value()}});
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
  std::map<std::int64_t, std::string> stills_;   // by clip
  int readings_added_ = 0;
  bool forgotten_ = false;
};

// Before anything of the session is in the logbook.
std::vector<NewName> new_names_of(SQLite::Database& database, const tune::SessionRecord& session) {
  std::vector<NewName> all;
  const auto note = [&](const std::vector<std::string>& known, NameKind kind,
                        const std::string& name) {
    const bool said = std::any_of(all.begin(), all.end(), [&](const NewName& one) {
      return one.kind == kind && same_name(one.name, name);
    });
    if (const std::optional<NewName> one = if_new(known, kind, name); one && !said) {
      all.push_back(*one);
    }
  };
  const std::vector<std::string> bows = known_names(database, NameKind::bow, false);
  const std::vector<std::string> arrows = known_names(database, NameKind::arrow, false);
  for (const tune::SetupRecord& setup : session.setups) {
    if (!setup.clips.empty()) {
      note(bows, NameKind::bow, setup.facts.bow.name);
      note(arrows, NameKind::arrow, setup.facts.arrow.name);
    }
  }
  return all;
}

}  // namespace

Recorded Logbook::record(const tune::SessionRecord& session,
                         const tune::SessionJudgement& judgement) {
  return store_->guarded([&] {
    SQLite::Database& database = store_->database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    const int before = database.getTotalChanges();
    std::vector<NewName> new_names = new_names_of(database, session);
    Recorder recorder(database);
    recorder.record(session, judgement);
    const int changed = database.getTotalChanges() - before;
    transaction.commit();
    return Recorded{recorder.readings_added(), changed, recorder.forgotten(), std::move(new_names)};
  });
}

}  // namespace nocktrail::logbook
