#include "schema.hpp"

#include <SQLiteCpp/Statement.h>
#include <fmt/format.h>

namespace nocktrail::logbook {
namespace {

// Version 1. STRICT tables keep numbers numbers; every date is ISO 8601 in UTC, so that comparing
// texts compares times. u95: half the 95 % interval.
const char* const kStep1 = R"sql(
-- What stays with a bow; a bow told of in other figures is another row.
CREATE TABLE bows (
  id INTEGER PRIMARY KEY,
  name TEXT,
  draw_weight_n REAL,
  rated_draw_m REAL,
  brace_min_m REAL,
  brace_max_m REAL,
  min_grains_per_pound REAL
) STRICT;

-- What stays with a kind of shaft; length and tip are the set-up's.
CREATE TABLE arrows (
  id INTEGER PRIMARY KEY,
  name TEXT,
  spine_convention TEXT,
  spine REAL,
  groups TEXT,
  diameter_m REAL,
  mass_per_length_kg_per_m REAL,
  nock_mass_kg REAL
) STRICT;

CREATE TABLE sessions (
  id INTEGER PRIMARY KEY,
  name TEXT,
  folder TEXT NOT NULL UNIQUE,
  recorded_at TEXT NOT NULL
) STRICT;

CREATE TABLE setups (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  name TEXT NOT NULL,
  position INTEGER,                -- in the order of shooting, from 1; NULL: no longer in the folder
  bow_id INTEGER NOT NULL REFERENCES bows (id),
  arrow_id INTEGER NOT NULL REFERENCES arrows (id),
  hand TEXT,
  cant_deg REAL,
  draw_m REAL,
  string TEXT,
  brace_height_m REAL,
  plate_offset_m REAL,
  nocking_point_m REAL,
  shaft_length_m REAL,
  arrow_length_m REAL,
  tip_mass_kg REAL,
  total_mass_kg REAL,
  fletching TEXT,
  focal_35mm REAL,
  capture_fps REAL,
  notes TEXT,
  UNIQUE (session_id, name)
) STRICT;

CREATE TABLE clips (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  sha256 TEXT,                     -- NULL: the file could not be read
  file TEXT NOT NULL,
  filmed_at TEXT,
  present INTEGER NOT NULL CHECK (present IN (0, 1)),
  dropped TEXT,                    -- the archer's reason for leaving it out
  hand TEXT,
  cant_deg REAL,
  UNIQUE (session_id, sha256)
) STRICT;

CREATE TABLE shots (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  number INTEGER NOT NULL,         -- within the clip, from 1
  UNIQUE (clip_id, number)
) STRICT;

-- One row for each shot of a clip, or one without shot_id for a clip in which none was found.
CREATE TABLE readings (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  shot_id INTEGER REFERENCES shots (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT,
  read_at TEXT,
  status TEXT NOT NULL,
  reason TEXT,
  focal_px REAL,
  focal_source TEXT,
  capture_fps REAL,
  capture_fps_source TEXT,
  loose_s REAL,
  exit_s REAL,
  nock_right_deg REAL,
  nock_right_u95_deg REAL,
  nock_high_deg REAL,
  nock_high_u95_deg REAL,
  right_high_correlation REAL,
  nock_right_slope_deg_per_m REAL,
  nock_right_slope_u95_deg_per_m REAL,
  nock_high_slope_deg_per_m REAL,
  nock_high_slope_u95_deg_per_m REAL,
  speed_mps REAL,
  speed_u95_mps REAL,
  flex_hz REAL,
  flex_u95_hz REAL,
  flex_mm REAL,
  flex_u95_mm REAL,
  cant_deg REAL,
  bow_right_deg REAL,              -- in the frame of the bow, the cant taken out
  bow_right_u95_deg REAL,
  bow_high_deg REAL,
  bow_high_u95_deg REAL,
  spine TEXT,
  nocking_point TEXT,
  summary TEXT,
  next_step TEXT
) STRICT;
CREATE INDEX readings_of_clip ON readings (clip_id, current);

CREATE TABLE verdicts (
  id INTEGER PRIMARY KEY,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT NOT NULL,
  judged_at TEXT NOT NULL,
  counted INTEGER NOT NULL,
  refused INTEGER NOT NULL,
  lateral_deg REAL,
  lateral_u95_deg REAL,
  lateral_scatter_deg REAL,
  lateral_freedom REAL,
  vertical_deg REAL,
  vertical_u95_deg REAL,
  vertical_scatter_deg REAL,
  vertical_freedom REAL,
  correlation REAL,
  spine TEXT NOT NULL,
  nocking_point TEXT NOT NULL,
  summary TEXT,
  warnings TEXT                    -- one a line
) STRICT;
CREATE INDEX verdicts_of_setup ON verdicts (setup_id, current);

-- What was changed from the set-up before to this one.
CREATE TABLE changes (
  id INTEGER PRIMARY KEY,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  what TEXT NOT NULL,              -- a column of setups, or "bow" or "arrow"
  before_number REAL,
  after_number REAL,
  before_text TEXT,
  after_text TEXT,
  UNIQUE (setup_id, what)
) STRICT;

CREATE TABLE notes (
  id INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  text TEXT NOT NULL,
  bow_id INTEGER REFERENCES bows (id)
) STRICT;

CREATE TABLE stills (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  path TEXT NOT NULL,              -- relative to the session's folder
  UNIQUE (clip_id, path)
) STRICT;
)sql";

// Version 2: what was advised next, and which shots lie far from the others.
const char* const kStep2 = R"sql(
ALTER TABLE shots ADD COLUMN outlier TEXT;  -- why the judgement calls it one

CREATE TABLE advice (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT NOT NULL,
  advised_at TEXT NOT NULL,
  kind TEXT NOT NULL,
  amount REAL,                     -- m, kg, or shots, by kind
  words TEXT,
  because TEXT,
  overshoot_chance REAL,
  cautions TEXT                    -- one a line
) STRICT;
CREATE INDEX advice_of_session ON advice (session_id, current);

CREATE INDEX clips_of_setup ON clips (setup_id);
CREATE INDEX clips_by_content ON clips (sha256);
)sql";

// Version 3: one shot of a clip that holds several may be left out.
const char* const kStep3 = R"sql(
ALTER TABLE shots ADD COLUMN dropped TEXT;  -- the archer's reason
)sql";

// Version 4: the maker's limits on the draw; how the bow stood, by whose word, and how surely; the
// next step of a shot as its word.
const char* const kStep4 = R"sql(
ALTER TABLE bows ADD COLUMN max_draw_m REAL;
ALTER TABLE bows ADD COLUMN max_draw_weight_n REAL;
ALTER TABLE setups ADD COLUMN fletching_mass_kg REAL;
ALTER TABLE setups ADD COLUMN accepted_nock_height TEXT;  -- the archer's reason
ALTER TABLE readings ADD COLUMN view TEXT;                -- NULL: from behind, before there were others
ALTER TABLE readings ADD COLUMN read_by TEXT;             -- NULL: the program
ALTER TABLE readings ADD COLUMN cant_u95_deg REAL;        -- NULL: the cant was taken as exact
ALTER TABLE readings ADD COLUMN cant_source TEXT;         -- "seen", "told" or "assumed"
ALTER TABLE readings ADD COLUMN bow_correlation REAL;
ALTER TABLE readings ADD COLUMN step TEXT;
ALTER TABLE verdicts ADD COLUMN cant_deg REAL;
ALTER TABLE verdicts ADD COLUMN cant_u95_deg REAL;
ALTER TABLE verdicts ADD COLUMN cant_source TEXT;
)sql";

// Version 5: what the archer wants to see no more. The rows stay, so that a folder read again finds
// them marked, and a slip can be taken back.
const char* const kStep5 = R"sql(
ALTER TABLE sessions ADD COLUMN forgotten_at TEXT;  -- NULL: not forgotten
ALTER TABLE clips ADD COLUMN forgotten_at TEXT;     -- holds for the same content anywhere
ALTER TABLE shots ADD COLUMN forgotten_at TEXT;     -- likewise, for the shot of this number
)sql";

// Version 6: the string, weighed.
const char* const kStep6 = R"sql(
ALTER TABLE setups ADD COLUMN string_mass_kg REAL;
)sql";

struct Step {
  const char* sql;
  std::vector<std::string> new_tables;  // each after those it refers to
};

const std::vector<Step>& steps() {
  static const std::vector<Step> list = {
      {kStep1,
       {"bows", "arrows", "sessions", "setups", "clips", "shots", "readings", "verdicts", "changes",
        "notes", "stills"}},
      {kStep2, {"advice"}},
      {kStep3, {}},
      {kStep4, {}},
      {kStep5, {}},
      {kStep6, {}},
  };
  return list;
}

}  // namespace

int current_version() {
  return static_cast<int>(steps().size());
}

void migrate(SQLite::Database& database, int from, int to) {
  for (int version = from; version < to; ++version) {
    database.exec(steps()[static_cast<std::size_t>(version)].sql);
  }
  database.exec(fmt::format("PRAGMA user_version = {}", to));
}

std::vector<std::string> table_names(int version) {
  std::vector<std::string> names;
  for (int i = 0; i < version; ++i) {
    const std::vector<std::string>& added = steps()[static_cast<std::size_t>(i)].new_tables;
    names.insert(names.end(), added.begin(), added.end());
  }
  return names;
}

std::vector<ColumnInfo> columns_of(SQLite::Database& database, const std::string& table) {
  std::vector<ColumnInfo> columns;
  SQLite::Statement statement(database, fmt::format("PRAGMA table_info({})", table));
  while (statement.executeStep()) {
    columns.push_back({statement.getColumn(1).getString(), statement.getColumn(2).getString()});
  }
  return columns;
}

}  // namespace nocktrail::logbook
