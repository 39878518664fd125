#include <SQLiteCpp/SQLiteCpp.h>
#include <doctest/doctest.h>

#include "nocktrail/logbook/logbook.hpp"
#include "sessions.hpp"

using nocktrail::logbook::Logbook;
using nocktrail::logbook::Recorded;

namespace {

// Asked of SQLite directly, past the logbook's own code.
std::string ask(const std::filesystem::path& file, const std::string& sql) {
  SQLite::Database database(file.string(), SQLite::OPEN_READONLY, 1000);
  SQLite::Statement statement(database, sql);
  std::string out;
  while (statement.executeStep()) {
    for (int i = 0; i < statement.getColumnCount(); ++i) {
      out += (i == 0 ? "" : "|");
      out += statement.getColumn(i).isNull() ? "NULL" : statement.getColumn(i).getString();
    }
    out += "\n";
  }
  return out;
}

}  // namespace

TEST_CASE("unit: a session becomes rows, each fact in its place") {
  const test::Folder folder;
  const auto file = folder / "logbook.sqlite";
  Logbook logbook(file);
  const Recorded first = logbook.record(test::heron_session(), test::heron_judgement());
  CHECK(first.readings_added == 4);
  CHECK(ask(file, "SELECT name, draw_weight_n, rated_draw_m FROM bows") == "Heron|200.25|NULL\n");
  CHECK(ask(file, "SELECT name, spine_convention, spine FROM arrows") ==
        "cedar|wood-pounds|50.0\n");
  CHECK(ask(file, "SELECT position, name, nocking_point_m, hand, cant_deg, notes FROM setups") ==
        "1|1 nock high|0.015875|right|NULL|NULL\n"
        "2|2 nock down|0.0127|right|NULL|wind from the left\n");
  CHECK(ask(file, "SELECT file, sha256, filmed_at, present, dropped FROM clips") ==
        "a.mp4|aa|2026-05-30T09:00:00Z|1|NULL\nb.mp4|bb|2026-05-30T09:05:00Z|1|NULL\n"
        "c.mp4|cc|2026-05-30T10:00:00Z|1|NULL\nd.mp4|dd|2026-05-30T10:05:00Z|1|NULL\n");
  CHECK(ask(file,
            "SELECT number, nock_right_deg, nock_right_u95_deg, nock_high_deg, program_version, "
            "readings.status, bow_right_deg FROM readings JOIN shots ON shots.id = shot_id LIMIT "
            "1") == "1|-2.5|0.21|1.5|0.1.0|measured|NULL\n");
  CHECK(ask(file, "SELECT counted, lateral_deg, spine, nocking_point, warnings FROM verdicts") ==
        "2|-2.375|weak|high|only two shots\nuneven spacing\n"
        "2|-1.875|weak|level|only two shots\nuneven spacing\n");
  CHECK(ask(file, "SELECT what, before_number, after_number, before_text FROM changes") ==
        "nocking_point_m|0.015875|0.0127|NULL\n");
  CHECK(ask(file, "SELECT count(*), min(path) FROM stills") == "4|nocktrail/a.mp4.png\n");
}

TEST_CASE("unit: recording the same again changes nothing") {
  const test::Folder folder;
  const auto file = folder / "logbook.sqlite";
  {
    Logbook logbook(file);
    logbook.record(test::heron_session(), test::heron_judgement());
  }
  const std::string bytes = test::content(file);
  Logbook logbook(file);
  const Recorded again = logbook.record(test::heron_session(), test::heron_judgement());
  CHECK(again.readings_added == 0);
  CHECK(again.rows_changed == 0);
  CHECK(test::content(file) == bytes);
}
