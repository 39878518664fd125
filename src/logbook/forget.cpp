#include "nocktrail/logbook/forget.hpp"

#include <SQLiteCpp/Statement.h>
#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <optional>

#include "names.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "store.hpp"
#include "values.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;

// As many as a line takes.
constexpr std::size_t kMostNamed = 4;

struct SessionRow {
  std::int64_t id = 0;
  std::string name;
  std::string folder;
};

struct ClipRow {
  std::int64_t id = 0;
  std::string content;  // empty: its file could not be read
  std::string setup;
  std::string file;
  SessionRow session;
};

std::string words_at(const SQLite::Statement& statement, int column) {
  const Value value = value_at(statement, column);
  const auto* words = std::get_if<std::string>(&value);
  return words == nullptr ? std::string() : *words;
}

std::string place_of(const ClipRow& clip) {
  return fmt::format("{} / {} / {}",
                     clip.session.name.empty() ? clip.session.folder : clip.session.name,
                     clip.setup, clip.file);
}

bool is_folder(const std::string& asked, const std::string& folder) {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(fs::absolute(asked, error), error);
  return asked == folder || (!error && whole == fs::path(folder));
}

// What is asked for, found in the logbook.
class Search {
 public:
  Search(const Logbook& logbook, const Entry& entry)
      : file_(logbook.file().string()), database_(logbook.store().database()), entry_(entry) {
    if (entry.session.empty() && entry.clip.empty()) {
      throw BadInput("forget: name a clip, as b.mp4, or a session");
    }
  }

  SessionRow session() const {
    const std::vector<SessionRow> fitting = sessions();
    if (fitting.size() > 1) {
      std::vector<std::string> folders;
      for (std::size_t i = 0; i < std::min(fitting.size(), kMostNamed); ++i) {
        folders.push_back(fitting[i].folder);
      }
      fail(fmt::format("{} sessions have the name \"{}\"; name the folder: {}", fitting.size(),
                       units::quoted_briefly(entry_.session), fmt::join(folders, ", ")));
    }
    return fitting.front();
  }

  struct Found {
    std::vector<ClipRow> clips;  // copies of one content
    int shot = 0;
  };

  // The clip, or one shot of it: a file may have "#" in its own name.
  Found clip() const {
    Found found{clips_named(entry_.clip), 0};
    const std::size_t hash = entry_.clip.rfind('#');
    if (found.clips.empty() && hash != std::string::npos) {
      const char* const end = entry_.clip.data() + entry_.clip.size();
      const auto [stop, error] = std::from_chars(entry_.clip.data() + hash + 1, end, found.shot);
      if (error == std::errc() && stop == end && found.shot > 0) {
        found.clips = clips_named(entry_.clip.substr(0, hash));
      }
    }
    if (found.clips.empty()) {
      fail_unknown();
    }
    const bool one = std::all_of(found.clips.begin(), found.clips.end(), [&](const ClipRow& clip) {
      return clip.id == found.clips.front().id ||
             (!clip.content.empty() && clip.content == found.clips.front().content);
    });
    if (!one) {
      std::vector<std::string> places;
      for (std::size_t i = 0; i < std::min(found.clips.size(), kMostNamed); ++i) {
        places.push_back(place_of(found.clips[i]));
      }
      fail(fmt::format("several clips are named \"{}\": {}{}; give SETUP/CLIP, or --session too",
                       units::quoted_briefly(entry_.clip), fmt::join(places, ", "),
                       places.size() < found.clips.size() ? ", ..." : ""));
    }
    if (found.shot > 0) {
      check_shot(found);
    }
    return found;
  }

 private:
  [[noreturn]] void fail(const std::string& why) const {
    throw BadInput(fmt::format("{}: {}; nothing was changed", file_, why));
  }

  [[noreturn]] void fail_unknown() const {
    SQLite::Statement statement(database_, "SELECT DISTINCT file FROM clips ORDER BY file");
    std::vector<std::string> files;
    while (statement.executeStep()) {
      files.push_back(words_at(statement, 0));
    }
    const std::string meant = units::nearly_right(entry_.clip, files);
    fail(fmt::format("there is no clip \"{}\" in this logbook{}{}",
                     units::quoted_briefly(entry_.clip),
                     entry_.session.empty() ? "" : ", of that session",
                     meant.empty() ? "; nocktrail logbook shots lists them"
                                   : fmt::format("; nearly right: \"{}\"", meant)));
  }

  std::vector<SessionRow> sessions() const {
    SQLite::Statement statement(database_, "SELECT id, name, folder FROM sessions ORDER BY id");
    std::vector<SessionRow> fitting;
    std::vector<std::string> names;
    while (statement.executeStep()) {
      SessionRow row{statement.getColumn(0).getInt64(), words_at(statement, 1),
                     words_at(statement, 2)};
      names.push_back(row.name);
      if (is_folder(entry_.session, row.folder)) {
        return {row};
      }
      if (same_name(entry_.session, row.name)) {
        fitting.push_back(std::move(row));
      }
    }
    if (fitting.empty()) {
      const std::string meant = units::nearly_right(entry_.session, names);
      fail(fmt::format("there is no session \"{}\" in this logbook{}",
                       units::quoted_briefly(entry_.session),
                       meant.empty() ? "; nocktrail logbook setups lists them"
                                     : fmt::format("; nearly right: \"{}\"", meant)));
    }
    return fitting;
  }

  std::vector<ClipRow> clips_named(const std::string& name) const {
    const std::size_t slash = name.rfind('/');
    const std::string setup = slash == std::string::npos ? std::string() : name.substr(0, slash);
    const std::int64_t in_session = entry_.session.empty() ? 0 : session().id;
    SQLite::Statement statement(
        database_,
        "SELECT clips.id, sha256, setups.name, file, sessions.id, sessions.name, folder FROM clips "
        "JOIN setups ON setups.id = setup_id JOIN sessions ON sessions.id = clips.session_id "
        "WHERE file = ? ORDER BY present DESC, clips.id");
    statement.bind(1, slash == std::string::npos ? name : name.substr(slash + 1));
    std::vector<ClipRow> clips;
    while (statement.executeStep()) {
      ClipRow row;
      row.id = statement.getColumn(0).getInt64();
      row.content = words_at(statement, 1);
      row.setup = words_at(statement, 2);
      row.file = words_at(statement, 3);
      row.session = {statement.getColumn(4).getInt64(), words_at(statement, 5),
                     words_at(statement, 6)};
      if ((setup.empty() || same_name(setup, row.setup)) &&
          (in_session == 0 || in_session == row.session.id)) {
        clips.push_back(std::move(row));
      }
    }
    return clips;
  }

  void check_shot(const Found& found) const {
    SQLite::Statement statement(database_, "SELECT count(*) FROM shots WHERE clip_id = ?");
    int most = 0;
    for (const ClipRow& clip : found.clips) {
      statement.reset();
      statement.bind(1, clip.id);
      statement.executeStep();
      most = std::max(most, statement.getColumn(0).getInt());
    }
    if (found.shot > most) {
      fail(fmt::format("\"{}\" holds {} shot{}", units::quoted_briefly(found.clips.front().file),
                       most, most == 1 ? "" : "s"));
    }
  }

  std::string file_;
  SQLite::Database& database_;
  const Entry& entry_;
};

// Marks whatever is not marked as wanted: `at` forgets, NULL takes back.
void mark(SQLite::Database& database, const std::string& table, const std::string& which,
          const Row& values, const Value& at) {
  SQLite::Statement statement(
      database,
      fmt::format("UPDATE {} SET forgotten_at = ? WHERE {} AND (forgotten_at IS NULL) = ?", table,
                  which));
  bind(statement, 1, at);
  int next = 2;
  for (const Field& field : values) {
    bind(statement, next++, field.value);
  }
  statement.bind(next, at.index() == 0 ? 0 : 1);
  statement.exec();
}

ForgottenEntry change(Logbook& logbook, const Entry& entry, bool forget) {
  return logbook.store().guarded([&] {
    SQLite::Database& database = logbook.store().database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    const Search search(logbook, entry);
    ForgottenEntry out;
    out.at = now_utc();
    const Value at = forget ? text(out.at) : Value();
    if (entry.clip.empty()) {
      const SessionRow session = search.session();
      mark(database, "sessions", "id = ?", {{"id", whole(session.id)}}, at);
      out.session = session.name;
      out.folder = session.folder;
    } else {
      const Search::Found found = search.clip();
      const ClipRow& clip = found.clips.front();
      // Every copy of it; of a file that could not be read, that file alone.
      const std::string same =
          clip.content.empty() ? "id = ?" : "id IN (SELECT id FROM clips WHERE sha256 = ?)";
      const Value key = clip.content.empty() ? whole(clip.id) : text(clip.content);
      const std::string shots_of = "clip_id IN (SELECT id FROM clips WHERE " + same + ")";
      if (found.shot > 0) {
        mark(database, "shots", shots_of + " AND number = ?",
             {{"clip", key}, {"number", whole(found.shot)}}, at);
      } else {
        mark(database, "clips", same, {{"clip", key}}, at);
      }
      if (!forget) {  // of a clip all of its shots, of a shot the clip, or it would not be back
        mark(database, found.shot > 0 ? "clips" : "shots", found.shot > 0 ? same : shots_of,
             {{"clip", key}}, at);
      }
      out.session = clip.session.name;
      out.folder = clip.session.folder;
      out.setup = clip.setup;
      out.clip = clip.file;
      out.number = found.shot;
    }
    transaction.commit();
    return out;
  });
}

}  // namespace

ForgottenEntry forget(Logbook& logbook, const Entry& entry) {
  return change(logbook, entry, true);
}

ForgottenEntry take_back(Logbook& logbook, const Entry& entry) {
  return change(logbook, entry, false);
}

std::vector<ForgottenEntry> forgotten(const Logbook& logbook) {
  const Logbook::Store& store = logbook.store();
  return store.guarded([&] {
    // Of the copies of a content one, the first.
    SQLite::Statement statement(store.database(), R"sql(
SELECT sessions.name, folder, '' AS setup, '' AS clip, 0 AS number, sessions.forgotten_at AS at
FROM sessions WHERE sessions.forgotten_at IS NOT NULL
UNION ALL
SELECT sessions.name, folder, setups.name, file, 0, min(clips.forgotten_at)
FROM clips JOIN sessions ON sessions.id = clips.session_id JOIN setups ON setups.id = setup_id
WHERE clips.forgotten_at IS NOT NULL GROUP BY coalesce(sha256, clips.id)
UNION ALL
SELECT sessions.name, folder, setups.name, file, number, min(shots.forgotten_at)
FROM shots JOIN clips ON clips.id = clip_id JOIN sessions ON sessions.id = clips.session_id
JOIN setups ON setups.id = setup_id
WHERE shots.forgotten_at IS NOT NULL GROUP BY coalesce(sha256, clips.id), number
ORDER BY at, folder, setup, clip, number
)sql");
    std::vector<ForgottenEntry> out;
    while (statement.executeStep()) {
      out.push_back({words_at(statement, 0), words_at(statement, 1), words_at(statement, 2),
                     words_at(statement, 3), statement.getColumn(4).getInt(),
                     words_at(statement, 5)});
    }
    return out;
  });
}

}  // namespace nocktrail::logbook
