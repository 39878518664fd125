#include "nocktrail/logbook/transfer.hpp"

#include <doctest/doctest.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <limits>
#include <nlohmann/json.hpp>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using test::ask;
using test::complaint;
using test::says;

namespace fs = std::filesystem;

namespace {

// Everything that a table can hold and a format might spoil.
void fill(const fs::path& file) {
  tune::SessionRecord session = test::heron_session();
  session.name = "quote \" comma , semicolon ; tab \t";
  session.setups[0].facts.notes = "line one\nline two\r\n\"three\"\n";
  session.setups[0].facts.bow.string = "NULL";
  session.setups[0].facts.bow.draw_weight_n = 0.1 + 0.2;
  session.setups[0].facts.bow.rated_draw_m = std::numeric_limits<double>::denorm_min();
  session.setups[0].facts.bow.brace_min_m = std::nextafter(0.2, 1.0);
  session.setups[0].facts.bow.brace_max_m = 1.0;  // whole, but no integer
  session.setups[0].facts.cant_deg = -1.0 / 3.0;
  session.setups[0].clips[0].file = " b\xC3\xB6gen \xF0\x9F\x8F\xB9.mp4 ";
  session.setups[0].clips[1].dropped = "0";
  Logbook logbook(file);
  logbook.record(session, test::heron_judgement());
  session.setups[0].clips[0].program_version = "0.2.0";
  logbook.record(session, test::heron_judgement());
  logbook.add_note({"2026-05-30", "=1+1", "Heron"});
  logbook.add_note({"", "'; DROP TABLE notes; --", ""});
  // Not written by the program, but a table may hold it.
  test::tell(file,
             "INSERT INTO notes (at, text) VALUES ('2026-06-01', ''); UPDATE setups SET notes = '' "
             "WHERE position = 2; INSERT INTO notes (id, at, text) VALUES (" +
                 std::to_string(std::numeric_limits<std::int64_t>::max()) +
                 ", '2026-06-01T12:00', char(10))");
}

std::vector<std::string> tables_of(const fs::path& file) {
  std::vector<std::string> names;
  const std::string list =
      ask(file, "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name");
  for (std::size_t at = 0; at < list.size(); at = list.find('\n', at) + 1) {
    names.push_back(list.substr(at, list.find('\n', at) - at));
  }
  return names;
}

// Every value with its type, exact: quote() is SQLite's own; numbers by their bytes as well.
std::string everything_in(const fs::path& file) {
  std::string out;
  for (const std::string& table : tables_of(file)) {
    SQLite::Database database(file.string());
    SQLite::Statement statement(database, "SELECT * FROM " + table + " ORDER BY id");
    while (statement.executeStep()) {
      out += table;
      for (int i = 0; i < statement.getColumnCount(); ++i) {
        const SQLite::Column value = statement.getColumn(i);
        out += value.isNull()      ? "|null"
               : value.isInteger() ? fmt::format("|i{}", value.getInt64())
               : value.isFloat()   ? fmt::format("|r{:a}", value.getDouble())
                                   : fmt::format("|t{}", value.getString());
      }
      out += "\n";
    }
  }
  return out;
}

// The rows as SQLite's own command line tells them.
std::string dump_of(const fs::path& file) {
  return test::output_of(fmt::format("sqlite3 '{}' .dump | grep '^INSERT' | sort", file.string()));
}

}  // namespace

TEST_CASE("reference: out as JSON and in again, SQLite's own dump is the same") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  logbook::export_json(Logbook(folder / "a.sqlite"), folder / "a.json");
  Logbook copy(folder / "b.sqlite");
  CHECK(logbook::import_json(copy, folder / "a.json") > 30);
  CHECK(everything_in(folder / "b.sqlite") == everything_in(folder / "a.sqlite"));
  test::check_integrity(folder / "b.sqlite");
  if (test::have_sqlite_tool()) {
    CHECK(dump_of(folder / "b.sqlite") == dump_of(folder / "a.sqlite"));
  }
  CHECK(logbook::json_text(copy) == test::content(folder / "a.json"));
}

TEST_CASE("reference: out as CSV and in again, SQLite's own dump is the same") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  logbook::export_csv(Logbook(folder / "a.sqlite"), folder / "out/");
  Logbook copy(folder / "b.sqlite");
  CHECK(logbook::import_csv(copy, folder / "out") > 30);
  CHECK(everything_in(folder / "b.sqlite") == everything_in(folder / "a.sqlite"));
  test::check_integrity(folder / "b.sqlite");
  if (test::have_sqlite_tool()) {
    CHECK(dump_of(folder / "b.sqlite") == dump_of(folder / "a.sqlite"));
  }
}

TEST_CASE("reference: SQLite's own command line reads the CSV files alike") {
  if (!test::have_sqlite_tool()) {
    return;
  }
  const test::Folder folder;
  fill(folder / "a.sqlite");
  logbook::export_csv(Logbook(folder / "a.sqlite"), folder / "out");
  for (const std::string& table : tables_of(folder / "a.sqlite")) {
    // It takes every field as text and nothing for empty: compare as that.
    std::string columns;
    SQLite::Database database((folder / "a.sqlite").string());
    SQLite::Statement info(database, "SELECT name, type FROM pragma_table_info(?)");
    info.bind(1, table);
    while (info.executeStep()) {
      const std::string name = info.getColumn(0).getString();
      columns += columns.empty() ? "" : ", ";
      columns += info.getColumn(1).getString() == "REAL"
                     ? fmt::format("CAST(nullif({0}, '') AS REAL) AS {0}", name)
                     : fmt::format("CAST(ifnull({0}, '') AS TEXT) AS {0}", name);
    }
    const std::string query =
        fmt::format("SELECT {} FROM {} ORDER BY CAST(id AS INTEGER);", columns, table);
    const std::string from_csv =
        test::output_of(fmt::format("sqlite3 -quote :memory: \".import --csv '{}' {}\" \"{}\"",
                                    (folder / "out" / (table + ".csv")).string(), table, query));
    const std::string from_file = test::output_of(
        fmt::format("sqlite3 -quote '{}' \"{}\"", (folder / "a.sqlite").string(), query));
    INFO(table);
    CHECK(from_csv == from_file);
    CHECK_FALSE(from_file.empty());
  }
}

TEST_CASE("unit: an export of version 1 is brought up to date on its way in") {
  const test::Folder folder;
  const fs::path old = folder / "old.sqlite";
  test::tell(old, test::content(fs::path(NOCKTRAIL_LOGBOOK_TESTS) / "version_1.sql"));
  // As that version wrote it: its tables and columns, of its number.
  nlohmann::ordered_json document;
  document["schema"] = "nocktrail.logbook/1";
  for (const std::string& table : tables_of(old)) {
    SQLite::Database database(old.string());
    SQLite::Statement rows(database, "SELECT * FROM " + table);
    document["tables"][table] = nlohmann::json::array();
    while (rows.executeStep()) {
      nlohmann::ordered_json row;
      for (int i = 0; i < rows.getColumnCount(); ++i) {
        const SQLite::Column value = rows.getColumn(i);
        nlohmann::ordered_json& cell = row[value.getName()];
        if (value.isInteger()) {
          cell = value.getInt64();
        } else if (value.isFloat()) {
          cell = value.getDouble();
        } else if (value.isText()) {
          cell = value.getString();
        }
      }
      document["tables"][table].push_back(row);
    }
  }
  test::write(folder / "old.json", document.dump());
  Logbook imported(folder / "new.sqlite");
  logbook::import_json(imported, folder / "old.json");
  { Logbook brought_up_to_date(old); }
  CHECK(everything_in(folder / "new.sqlite") == everything_in(old));
  CHECK(ask(folder / "new.sqlite", "PRAGMA user_version") == "6\n");
  test::check_integrity(folder / "new.sqlite");
}

TEST_CASE("fault: a logbook that holds something takes no import") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  Logbook full(folder / "a.sqlite");
  logbook::export_json(full, folder / "a.json");
  const std::string before = everything_in(folder / "a.sqlite");
  CHECK(says(complaint([&] { logbook::import_json(full, folder / "a.json"); }),
             "a.sqlite: this logbook already holds something"));
  CHECK(everything_in(folder / "a.sqlite") == before);
}

TEST_CASE("fault: a JSON file that is no export changes nothing") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  const std::string good = logbook::json_text(Logbook(folder / "a.sqlite"));
  Logbook copy(folder / "b.sqlite");
  const std::string nothing = everything_in(folder / "b.sqlite");
  const auto refused = [&](const std::string& bytes) {
    test::write(folder / "bad.json", bytes);
    const std::string line = complaint([&] { logbook::import_json(copy, folder / "bad.json"); });
    CHECK(says(line, "bad.json"));
    CHECK(everything_in(folder / "b.sqlite") == nothing);
    return line;
  };
  const auto spoilt = [&](auto change) {
    nlohmann::ordered_json document = nlohmann::ordered_json::parse(good);
    change(document);
    return refused(document.dump());
  };
  using Json = nlohmann::ordered_json;
  CHECK(says(refused(good.substr(0, good.size() / 2)), "is not JSON"));
  CHECK(says(refused(""), "is not JSON"));
  CHECK(says(refused("[]"), "is not an export"));
  CHECK(says(refused("{\"schema\": 1, \"tables\": {}}"), "is not an export"));
  CHECK(says(spoilt([](Json& j) { j["schema"] = "nocktrail.logbook/99"; }), "newer nocktrail"));
  CHECK(says(spoilt([](Json& j) { j["schema"] = "nocktrail.logbook/0"; }), "is not an export"));
  CHECK(says(spoilt([](Json& j) { j["tables"].erase("shots"); }), "no table \"shots\""));
  CHECK(says(spoilt([](Json& j) { j["tables"]["birds"] = Json::array(); }), "\"birds\" is not"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"] = 3; }), "\"shots\" must be a list"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"][0] = 3; }), "row 1: must be an object"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"][1].erase("number"); }),
             "row 2: column \"number\" is missing"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"][1]["extra"] = 1; }), "row 2: has columns"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"][1]["number"] = "one"; }),
             "\"number\" must hold a whole number"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["setups"][0]["cant_deg"] = "steep"; }),
             "\"cant_deg\" must hold a number"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["setups"][0]["name"] = 7; }),
             "\"name\" must hold text"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["setups"][0]["name"] = Json::array(); }),
             "neither number nor text"));
  // Rows that fit one by one but not together.
  CHECK(says(spoilt([](Json& j) { j["tables"]["shots"][1]["clip_id"] = 99; }), "does not fit"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["stills"][1]["id"] = 1; }), "does not fit"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["clips"][0]["file"] = nullptr; }), "does not fit"));
  CHECK(says(spoilt([](Json& j) { j["tables"]["clips"][0]["present"] = 2; }), "does not fit"));
  CHECK(says(complaint([&] { logbook::import_json(copy, folder / "none.json"); }),
             "none.json: cannot be read"));
  // And the good one goes in after all that.
  test::write(folder / "good.json", good);
  logbook::import_json(copy, folder / "good.json");
  CHECK(everything_in(folder / "b.sqlite") == everything_in(folder / "a.sqlite"));
}

TEST_CASE("fault: CSV files that are no export change nothing") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  const fs::path out = folder / "out";
  logbook::export_csv(Logbook(folder / "a.sqlite"), out);
  Logbook copy(folder / "b.sqlite");
  const std::string nothing = everything_in(folder / "b.sqlite");
  const auto refused = [&](const char* name, const std::string& bytes) {
    const std::string good = test::content(out / name);
    test::write(out / name, bytes);
    const std::string line = complaint([&] { logbook::import_csv(copy, out); });
    CHECK(everything_in(folder / "b.sqlite") == nothing);
    test::write(out / name, good);
    return line;
  };
  const std::string header = "id,clip_id,number,outlier,dropped,forgotten_at\r\n";
  CHECK(says(refused("shots.csv", ""), "shots.csv: has no line of column names"));
  CHECK(says(refused("shots.csv", header + "1,1\r\n"), "shots.csv, line 2: has 2 fields"));
  CHECK(says(refused("shots.csv", header + "1,1,1,,,\r\n2,1,two,,,\r\n"),
             "shots.csv, line 3: column \"number\" must hold a whole number"));
  CHECK(says(refused("shots.csv", header + "1,1,1.5,,,\r\n"), "must hold a whole number"));
  CHECK(says(refused("shots.csv", header + "1,1,1,\xFF,,\r\n"), "must hold text in UTF-8"));
  CHECK(says(refused("shots.csv", "id,clip_id,number,dropped\r\n"),
             "must have the column \"outlier\""));
  CHECK(
      says(refused("shots.csv", "id,id,clip_id,number,outlier,dropped\r\n"), "column \"id\" once"));
  CHECK(says(refused("shots.csv", "id,clip_id,number,birds\r\n"), "no column \"birds\""));
  CHECK(says(refused("shots.csv", header + "1,99,1,,,\r\n"), "line 2: the row does not fit"));
  CHECK(says(refused("logbook.csv", "schema\r\nbirds\r\n"), "is not an export"));
  CHECK(says(refused("bows.csv",
                     "id,name,draw_weight_n,rated_draw_m,brace_min_m,brace_max_m,min_grains_per_"
                     "pound,max_draw_m,max_draw_weight_n\r\n1,,nan,,,,,,\r\n"),
             "must hold a number"));
  fs::remove(out / "stills.csv");
  CHECK(says(complaint([&] { logbook::import_csv(copy, out); }), "stills.csv: cannot be read"));
  CHECK(says(complaint([&] { logbook::import_csv(copy, folder / "none"); }), "cannot be read"));
}

TEST_CASE("fault: values that no archer has are refused with their place") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  const std::string good = logbook::json_text(Logbook(folder / "a.sqlite"));
  Logbook copy(folder / "b.sqlite");
  const std::string nothing = everything_in(folder / "b.sqlite");
  struct Row {
    const char* table;
    const char* column;
    nlohmann::ordered_json value;
  };
  for (const Row& row : std::vector<Row>{
           {"setups", "tip_mass_kg", -1e308},
           {"setups", "total_mass_kg", 1e9},
           {"setups", "arrow_length_m", -0.1},
           {"setups", "hand", std::string("\0", 1)},
           {"setups", "hand", "both"},
           {"setups", "fletching", "feathers"},
           {"setups", "cant_deg", 1e6},
           {"setups", "position", 0},
           {"bows", "draw_weight_n", -5.0},
           {"bows", "name", std::string("He\0ron", 6)},
           {"arrows", "spine_convention", "guess"},
           {"clips", "filmed_at", "2026-13-40T00:00:00Z"},
           {"clips", "filmed_at", "yesterday"},
           {"notes", "at", "x"},
           {"shots", "number", -3},
           {"readings", "status", "perfect"},
           {"readings", "nock_right_u95_deg", -0.1},
           {"readings", "right_high_correlation", 1.5},
           {"readings", "speed_mps", -50.0},
           {"verdicts", "spine", "strong"},
           {"verdicts", "counted", -1},
           {"verdicts", "judged_at", ""},
       }) {
    CAPTURE(row.table);
    CAPTURE(row.column);
    nlohmann::ordered_json document = nlohmann::ordered_json::parse(good);
    document["tables"][row.table][0][row.column] = row.value;
    test::write(folder / "bad.json", document.dump());
    const std::string line = complaint([&] { logbook::import_json(copy, folder / "bad.json"); });
    CHECK(
        says(line, fmt::format("table \"{}\", row 1: column \"{}\" holds", row.table, row.column)));
    CHECK_FALSE(says(line, "\n"));
    CHECK(everything_in(folder / "b.sqlite") == nothing);
  }
  // In CSV by the line.
  logbook::export_csv(Logbook(folder / "a.sqlite"), folder / "out");
  test::write(folder / "out/notes.csv", "id,at,text,bow_id\r\n1,2026-05-30,x,\r\n2,soon,x,\r\n");
  CHECK(says(complaint([&] { logbook::import_csv(copy, folder / "out"); }),
             "notes.csv, line 3: column \"at\" holds \"soon\""));
  CHECK(everything_in(folder / "b.sqlite") == nothing);
}

TEST_CASE("fault: what an export left that was killed goes with the next") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  const Logbook logbook(folder / "a.sqlite");
  // A process that has ended: its number names nobody.
  const pid_t gone = ::fork();
  if (gone == 0) {
    ::_exit(0);
  }
  ::waitpid(gone, nullptr, 0);
  const fs::path left = folder / fmt::format(".out.{}.part", gone);
  fs::create_directory(left);
  test::write(left / "bows.csv", "id\r\n");
  // Of a process that is still at work, or not of ours at all.
  const fs::path alive = folder / fmt::format(".out.{}.part", ::getppid());
  fs::create_directory(alive);
  fs::create_directory(folder / ".out.part");
  logbook::export_csv(logbook, folder / "out");
  CHECK_FALSE(fs::exists(left));
  CHECK(fs::exists(alive));
  CHECK(fs::exists(folder / ".out.part"));
  CHECK(fs::exists(folder / "out/logbook.csv"));
}

TEST_CASE("fault: an export that cannot be written leaves nothing behind") {
  const test::Folder folder;
  fill(folder / "a.sqlite");
  Logbook logbook(folder / "a.sqlite");
  fs::create_directory(folder / "full");
  test::write(folder / "full" / "letter.txt", "dear");
  CHECK(says(complaint([&] { logbook::export_csv(logbook, folder / "full"); }),
             "there already and not empty"));
  CHECK(says(complaint([&] { logbook::export_csv(logbook, folder / "full" / "letter.txt" / "x"); }),
             "cannot be written"));
  CHECK(test::content(folder / "full" / "letter.txt") == "dear");
  CHECK(says(complaint([&] { logbook::export_json(logbook, folder / "none" / "a.json"); }),
             "a.json: cannot be written"));
  // A device on which every write says that the disk is full.
  CHECK(says(complaint([&] { logbook::export_json(logbook, "/dev/full"); }),
             "/dev/full: cannot be written"));
  fs::create_directory(folder / "empty");
  logbook::export_csv(logbook, folder / "empty");
  CHECK(fs::exists(folder / "empty" / "readings.csv"));
}
