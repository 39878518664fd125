#include "nocktrail/logbook/merge.hpp"

#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <set>

#include "nocktrail/error.hpp"
#include "store.hpp"
#include "tables.hpp"
#include "values.hpp"

namespace nocktrail::logbook {
namespace {

using Ids = std::map<std::int64_t, std::int64_t>;  // the other's, ours

std::int64_t whole_in(const Value& value) {
  const auto* number = std::get_if<std::int64_t>(&value);
  return number == nullptr ? 0 : *number;
}

std::string words_in(const Value& value) {
  const auto* words = std::get_if<std::string>(&value);
  return words == nullptr ? std::string() : *words;
}

// A row of the other logbook, by the names of its columns.
class Other {
 public:
  Other(const Table& table, std::size_t row) : table_(table), row_(row) {}

  const Value& at(const std::string& column) const {
    const auto found = std::find(table_.columns.begin(), table_.columns.end(), column);
    return table_.rows[row_][static_cast<std::size_t>(found - table_.columns.begin())];
  }
  std::int64_t id() const { return whole_in(at("id")); }

  // All columns but those.
  Row without(const std::set<std::string>& left_out) const {
    Row row;
    for (std::size_t c = 0; c < table_.columns.size(); ++c) {
      if (table_.columns[c] != "id" && !left_out.contains(table_.columns[c])) {
        row.push_back({table_.columns[c], table_.rows[row_][c]});
      }
    }
    return row;
  }

 private:
  const Table& table_;
  std::size_t row_;
};

class Merger {
 public:
  Merger(SQLite::Database& database, const Tables& theirs) : database_(database), theirs_(theirs) {}

  Merged merge() {
    sort_their_clips();
    simple("bows", bows_);
    simple("arrows", arrows_);
    each("sessions", [&](const Other& row) { take_session(row); });
    each("setups", [&](const Other& row) { take_setup(row); });
    each("clips", [&](const Other& row) { take_clip(row); });
    each("shots", [&](const Other& row) { take_shot(row); });
    take_readings();
    take_current("verdicts", "setup_id", setups_, "judged_at");
    take_current("advice", "session_id", sessions_, "advised_at");
    each("changes", [&](const Other& row) { take_change(row); });
    each("notes", [&](const Other& row) { take_note(row); });
    each("stills", [&](const Other& row) { take_still(row); });
    return out_;
  }

 private:
  const Table& table(const std::string& name) const {
    return *std::find_if(theirs_.tables.begin(), theirs_.tables.end(),
                         [&](const Table& one) { return one.name == name; });
  }

  template <typename Take>
  void each(const std::string& name, Take take) {
    const Table& rows = table(name);
    for (std::size_t r = 0; r < rows.rows.size(); ++r) {
      take(Other(rows, r));
    }
  }

  std::int64_t add(const std::string& table, const Row& row) {
    ++out_.rows;
    return insert(database_, table, row);
  }

  // Found as `key` says it, else added with `rest` too. True when it was added.
  bool find_or_add(const std::string& table, const Row& key, const Row& rest, std::int64_t& id) {
    const std::optional<std::int64_t> known = find(database_, table, key);
    if (known) {
      id = *known;
      return false;
    }
    Row row = key;
    row.insert(row.end(), rest.begin(), rest.end());
    id = add(table, row);
    return true;
  }

  void simple(const std::string& table, Ids& ids) {
    each(table, [&](const Other& row) {
      std::int64_t id = 0;
      find_or_add(table, row.without({}), {}, id);
      ids[row.id()] = id;
    });
  }

  // Forgotten by either is forgotten.
  void mark_forgotten(const std::string& table, std::int64_t id, const Other& row) {
    if (row.at("forgotten_at").index() != 0 &&
        find(database_, table, {{"id", whole(id)}, {"forgotten_at", Value()}})) {
      update(database_, table, id, {{"forgotten_at", row.at("forgotten_at")}});
      ++out_.rows;
    }
  }

  // What tells a clip from others of its session.
  static std::string clip_key(const Other& clip) {
    const std::string content = words_in(clip.at("sha256"));
    return content.empty() ? fmt::format("/{}", words_in(clip.at("file"))) : content;
  }

  void sort_their_clips() {
    each("clips", [&](const Other& clip) {
      their_clips_[whole_in(clip.at("session_id"))].insert(clip_key(clip));
    });
  }

  bool shares_clip(std::int64_t our_session, const std::set<std::string>& theirs) {
    SQLite::Statement statement(
        database_, "SELECT coalesce(sha256, '/' || file) FROM clips WHERE session_id = ?");
    statement.bind(1, our_session);
    bool any = false;
    while (statement.executeStep()) {
      any = true;
      if (theirs.contains(statement.getColumn(0).getString())) {
        return true;
      }
    }
    return !any;
  }

  // The same folder on two computers may hold two sessions: those that share no clip.
  void take_session(const Other& row) {
    const std::set<std::string>& clips = their_clips_[row.id()];
    if (clips.empty()) {
      return;  // nothing was shot in it
    }
    const std::string folder = words_in(row.at("folder"));
    for (int n = 1;; ++n) {
      const std::string name = n == 1 ? folder : fmt::format("{} ({})", folder, n);
      const std::optional<std::int64_t> known =
          find(database_, "sessions", {{"folder", text(name)}});
      if (!known) {
        Row added = row.without({"folder"});
        added.push_back({"folder", text(name)});
        sessions_[row.id()] = add("sessions", added);
        ++out_.sessions;
        return;
      }
      if (shares_clip(*known, clips)) {
        sessions_[row.id()] = *known;
        mark_forgotten("sessions", *known, row);
        return;
      }
    }
  }

  void take_setup(const Other& row) {
    const auto session = sessions_.find(whole_in(row.at("session_id")));
    if (session == sessions_.end()) {
      return;
    }
    const Row key = {{"session_id", whole(session->second)}, {"name", row.at("name")}};
    Row rest = row.without({"session_id", "name", "bow_id", "arrow_id"});
    rest.push_back({"bow_id", whole(bows_.at(whole_in(row.at("bow_id"))))});
    rest.push_back({"arrow_id", whole(arrows_.at(whole_in(row.at("arrow_id"))))});
    std::int64_t id = 0;
    if (find_or_add("setups", key, rest, id)) {
      added_setups_.insert(id);
    } else {
      std::erase_if(rest, [](const Field& field) { return field.column == "position"; });
      rest.insert(rest.begin(), key.begin(), key.end());
      if (!find(database_, "setups", rest)) {
        note_told_otherwise(session->second, words_in(row.at("name")));
      }
    }
    setups_[row.id()] = id;
  }

  void note_told_otherwise(std::int64_t session, const std::string& setup) {
    SQLite::Statement statement(database_,
                                "SELECT coalesce(name, folder) FROM sessions WHERE id = ?");
    statement.bind(1, session);
    statement.executeStep();
    out_.told_otherwise.push_back(
        fmt::format("{} / {}", statement.getColumn(0).getString(), setup));
  }

  void take_clip(const Other& row) {
    const auto setup = setups_.find(whole_in(row.at("setup_id")));
    if (setup == setups_.end()) {
      return;
    }
    Row key = {{"session_id", whole(sessions_.at(whole_in(row.at("session_id"))))},
               {"sha256", row.at("sha256")}};
    std::set<std::string> in_key = {"session_id", "sha256", "setup_id"};
    Row rest = {{"setup_id", whole(setup->second)}};
    if (row.at("sha256").index() == 0) {  // could not be read: known by where it lies
      key.insert(key.end(), {rest.front(), {"file", row.at("file")}});
      rest.clear();
      in_key.insert("file");
    }
    const Row others = row.without(in_key);
    rest.insert(rest.end(), others.begin(), others.end());
    std::int64_t id = 0;
    if (find_or_add("clips", key, rest, id)) {
      ++out_.clips;
    } else {
      mark_forgotten("clips", id, row);
    }
    clips_[row.id()] = id;
  }

  void take_shot(const Other& row) {
    const auto clip = clips_.find(whole_in(row.at("clip_id")));
    if (clip == clips_.end()) {
      return;
    }
    std::int64_t id = 0;
    if (!find_or_add("shots", {{"clip_id", whole(clip->second)}, {"number", row.at("number")}},
                     row.without({"clip_id", "number"}), id)) {
      mark_forgotten("shots", id, row);
    }
    shots_[row.id()] = id;
  }

  // Current where there was no current one of this clip before; else history.
  void take_readings() {
    std::map<std::int64_t, bool> had_current;  // by our clip
    each("readings", [&](const Other& row) {
      const auto clip = clips_.find(whole_in(row.at("clip_id")));
      if (clip == clips_.end()) {
        return;
      }
      auto had = had_current.find(clip->second);
      if (had == had_current.end()) {
        had = had_current.emplace(clip->second, has_current("readings", "clip_id", clip->second))
                  .first;
      }
      Row key = row.without({"clip_id", "shot_id", "current", "read_at"});
      const std::int64_t shot = whole_in(row.at("shot_id"));
      key.push_back({"clip_id", whole(clip->second)});
      key.push_back({"shot_id", shot == 0 ? Value() : whole(shots_.at(shot))});
      const Value current = had->second ? whole(0) : row.at("current");
      std::int64_t ignored = 0;
      if (find_or_add("readings", key, {{"current", current}, {"read_at", row.at("read_at")}},
                      ignored)) {
        ++out_.readings;
      }
    });
  }

  bool has_current(const std::string& table, const std::string& of, std::int64_t id) {
    return find(database_, table, {{of, whole(id)}, {"current", whole(1)}}).has_value();
  }

  // Verdicts and advice.
  void take_current(const std::string& table, const std::string& of, const Ids& ids,
                    const std::string& time_column) {
    each(table, [&](const Other& row) {
      const auto owner = ids.find(whole_in(row.at(of)));
      if (owner == ids.end()) {
        return;
      }
      Row key = row.without({of, "current", time_column});
      key.push_back({of, whole(owner->second)});
      const Value current = has_current(table, of, owner->second) ? whole(0) : row.at("current");
      std::int64_t ignored = 0;
      find_or_add(table, key, {{"current", current}, {time_column, row.at(time_column)}}, ignored);
    });
  }

  // Of a set-up that both know, the changes go with the facts, which are ours.
  void take_change(const Other& row) {
    const auto setup = setups_.find(whole_in(row.at("setup_id")));
    if (setup == setups_.end() || !added_setups_.contains(setup->second)) {
      return;
    }
    Row change = row.without({"setup_id"});
    change.push_back({"setup_id", whole(setup->second)});
    add("changes", change);
  }

  void take_note(const Other& row) {
    const std::int64_t bow = whole_in(row.at("bow_id"));
    // A note is of a bow by its name alone; which row of that name it points to means nothing.
    SQLite::Statement known(database_,
                            "SELECT 1 FROM notes LEFT JOIN bows ON bows.id = bow_id WHERE at = ? "
                            "AND text = ? AND name IS (SELECT name FROM bows WHERE id = ?)");
    bind(known, 1, row.at("at"));
    bind(known, 2, row.at("text"));
    const Value our_bow = bow == 0 ? Value() : whole(bows_.at(bow));
    bind(known, 3, our_bow);
    if (!known.executeStep()) {
      Row note = row.without({"bow_id"});
      note.push_back({"bow_id", our_bow});
      add("notes", note);
      ++out_.notes;
    }
  }

  void take_still(const Other& row) {
    const auto clip = clips_.find(whole_in(row.at("clip_id")));
    if (clip == clips_.end()) {
      return;
    }
    // Of a clip that both know, ours lies where it is said to lie.
    std::int64_t ignored = 0;
    find_or_add("stills", {{"clip_id", whole(clip->second)}}, {{"path", row.at("path")}}, ignored);
  }

  SQLite::Database& database_;
  const Tables& theirs_;
  Ids bows_;
  Ids arrows_;
  Ids sessions_;
  Ids setups_;
  Ids clips_;
  Ids shots_;
  std::map<std::int64_t, std::set<std::string>> their_clips_;  // by their session
  std::set<std::int64_t> added_setups_;
  Merged out_;
};

}  // namespace

Merged merge(Logbook& logbook, const Logbook& other) {
  const std::string source = other.file().string();
  const Tables theirs =
      other.store().guarded([&] { return checked(read_tables(other.store()), source); });
  return logbook.store().guarded([&] {
    SQLite::Database& database = logbook.store().database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    Merged merged = Merger(database, theirs).merge();
    transaction.commit();
    return merged;
  });
}

}  // namespace nocktrail::logbook
