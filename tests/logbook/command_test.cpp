// `nocktrail logbook` as an archer meets it: exit status, streams, words.
#include <doctest/doctest.h>
#include <sys/wait.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "asking.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using test::says;

namespace fs = std::filesystem;

namespace {

struct Ran {
  int status = -1;
  std::string out;
  std::string err;
};

// `zone`: by its rules, as POSIX has them.
Ran run(const std::string& arguments, const std::string& zone = "UTC0") {
  const test::Folder folder;
  const std::string command =
      fmt::format("TZ='{}' '{}' logbook {} >'{}' 2>'{}' </dev/null", zone, NOCKTRAIL_PROGRAM,
                  arguments, (folder / "out").string(), (folder / "err").string());
  const int raw = std::system(command.c_str());
  return {WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, test::content(folder / "out"),
          test::content(folder / "err")};
}

class Book {
 public:
  Book() {
    Logbook logbook(file());
    logbook.record(test::heron_session(), test::heron_judgement());
    tune::SessionRecord pine = test::heron_session();
    pine.name = "pine";
    pine.folder = "/home/robin/tuning/pine";
    for (tune::SetupRecord& setup : pine.setups) {
      setup.facts.arrow.name = "pine";
      for (tune::ClipRecord& clip : setup.clips) {
        clip.sha256 += "p";
        clip.filmed_at_utc = "2025" + clip.filmed_at_utc.substr(4);
      }
    }
    tune::SessionJudgement straight = test::heron_judgement();
    straight.setups[1].spine = SpineVerdict::matched;
    straight.setups[1].lateral = tune::OffsetSummary{0.125, 0.375, 0.25, 5.0};
    logbook.record(pine, straight);
  }
  fs::path file() const { return folder_ / "logbook.sqlite"; }
  Ran ask(const std::string& arguments, const std::string& zone = "UTC0") const {
    return run(fmt::format("{} --logbook '{}'", arguments, file().string()), zone);
  }
  const test::Folder& folder() const { return folder_; }

 private:
  test::Folder folder_;
};

bool on_one_line(const std::string& text) {
  return std::count(text.begin(), text.end(), '\n') == 1 && text.back() == '\n';
}

}  // namespace

TEST_CASE("unit: what did this bow like last year") {
  const Book book;
  const Ran ran = book.ask("liked --bow heron --year 2025");
  CHECK(ran.status == 0);
  CHECK(ran.err.empty());
  CHECK(says(ran.out, "pine / 2 nock down: 2025-05-30 10:00 to 2025-05-30 10:05 UTC\n"));
  CHECK(says(ran.out, "Verdict: spine matched, nocking point level\n"));
  CHECK(says(ran.out, "Nocking point above square: 1/2 in (12.7 mm)\n"));
  CHECK(says(ran.out, "Changed: Nocking point above square: 1/2 in (12.7 mm), was 5/8 in"));
  CHECK_FALSE(says(ran.out, "1 nock high"));
  CHECK(book.ask("liked --bow Heron --year 2026").out == "No set-ups.\n");
}

TEST_CASE("unit: what was the nocking point before the string broke") {
  const Book book;
  CHECK(book.ask("note 'the string broke' --bow Heron --date 2026-05-30T09:30").status == 0);
  const Ran by_note = book.ask("before --note 'string broke'");
  CHECK(by_note.status == 0);
  CHECK(says(by_note.out, "Before 2026-05-30 09:30 UTC, by the note \"the string broke\"\n"));
  CHECK(says(by_note.out, "heron, may / 1 nock high"));
  CHECK(says(by_note.out, "Nocking point above square: 5/8 in (15.9 mm)\n"));
  const Ran by_date = book.ask("before 2026-06-15 --json -");
  const auto json = nlohmann::json::parse(by_date.out);
  CHECK(json["in_force"][0]["setup"] == "2 nock down");
  CHECK(json["in_force"][0]["bow"]["nocking_point_m"] == 0.0127);
  CHECK(json["note"].is_null());
  CHECK(says(book.ask("notes").out, "2026-05-30 09:30 UTC, Heron: the string broke\n"));
}

TEST_CASE("unit: how does this arrow compare") {
  const Book book;
  const Ran ran = book.ask("compare cedar pine");
  CHECK(ran.status == 0);
  CHECK(says(ran.out, "cedar: 4 shots in 2 set-ups\n"));
  // 0.125 + 1.875 deg; hypot(0.5, 0.375) = 0.625.
  CHECK(says(ran.out, "Lateral: 2.0 \u00b1 0.6 deg further right\n"));
  CHECK(says(ran.out, "which may be none at all"));  // the vertical: the same, 0.125
  const auto json = nlohmann::json::parse(book.ask("compare cedar pine --json -").out);
  CHECK(json["lateral_difference_deg"]["value"].get<double>() == doctest::Approx(2.0));
  CHECK(json["lateral_difference_deg"]["u95"].get<double>() == doctest::Approx(0.625));
}

TEST_CASE("unit: shots as a table with a line of headings, no control characters, no tabs") {
  const Book book;
  const Ran ran = book.ask("shots --bow Heron --since 2026");
  CHECK(ran.status == 0);
  CHECK(ran.out.starts_with("Time "));
  CHECK(std::count(ran.out.begin(), ran.out.end(), '\n') == 5);
  CHECK(says(ran.out, "nock left 2.50 \u00b1 0.21 deg"));
  CHECK(std::none_of(ran.out.begin(), ran.out.end(),
                     [](char c) { return c != '\n' && static_cast<unsigned char>(c) < 0x20; }));
  CHECK(nlohmann::json::parse(book.ask("shots --json -").out).size() == 8);
}

TEST_CASE("unit: out and in again by the command, both ways") {
  const Book book;
  const std::string folder = book.folder().path().string();
  CHECK(book.ask(fmt::format("export --csv '{}/out'", folder)).status == 0);
  CHECK(book.ask(fmt::format("export --json '{}/out.json'", folder)).status == 0);
  const std::string all = book.ask("export --json -").out;
  for (const char* from : {"out", "out.json"}) {
    const std::string copy = fmt::format("{}/{}.sqlite", folder, from);
    const Ran in = run(fmt::format("import '{}/{}' --logbook '{}'", folder, from, copy));
    CHECK(in.status == 0);
    CHECK(says(in.out, "rows imported"));
    CHECK(run(fmt::format("export --json - --logbook '{}'", copy)).out == all);
  }
}

TEST_CASE("reference: answers as CSV are read by Python's csv module, RFC 4180's own rules on") {
  const Book book;
  CHECK(book.ask("note 'new \"string\", 14 strands' --bow Heron --date 2026-05-01").status == 0);
  const std::string file = (book.folder() / "answer.csv").string();
  // Rows of equal length, quotes and commas inside, CRLF, no stray carriage return.
  const auto rows = [&](const std::string& question) {
    const Ran ran = book.ask(fmt::format("{} --csv '{}'", question, file));
    CHECK(ran.status == 0);
    CHECK(ran.out.empty());
    return nlohmann::json::parse(test::output_of(fmt::format(
        "python3 -c \"import csv,json,sys; rows=list(csv.reader(open(sys.argv[1],newline='',"
        "encoding='utf-8'),strict=True)); assert len({{len(r) for r in rows}})==1; "
        "assert open(sys.argv[1],'rb').read().count(b'\\r\\n')==len(rows); "
        "print(json.dumps([dict(zip(rows[0],r)) for r in rows[1:]]))\" '{}'",
        file)));
  };
  const auto shots = rows("shots --bow Heron --since 2026");
  REQUIRE(shots.size() == 4);
  CHECK(shots[0]["session"] == "heron, may");
  CHECK(shots[0]["nock_right_deg"] == "-2.5");
  CHECK(shots[0]["nock_right_u95_deg"] == "0.21");
  CHECK(shots[0]["dropped"] == "");
  fs::remove(file);
  const auto setups = rows("setups");
  CHECK(setups.size() == 4);
  CHECK(setups[0]["nocking_point_m"] == "0.015875");
  CHECK(setups[1]["changed"].get<std::string>().find("was 5/8 in") != std::string::npos);
  CHECK(rows("liked").size() == 1);  // over the older answer of the same columns
  fs::remove(file);
  CHECK(rows("notes")[0]["text"] == "new \"string\", 14 strands");
  fs::remove(file);
  CHECK(rows("before 2026-06-15")[0]["when"] == "in-force");
  fs::remove(file);
  const auto compared = rows("compare cedar pine");
  CHECK(compared.size() == 4);
  CHECK(compared[3]["lateral_difference_deg"] == "2");
  CHECK(compared[2]["lateral_difference_deg"] == "");
  // To standard output, and never over something else.
  CHECK(book.ask("notes --csv -").out.starts_with("at,bow,text\r\n"));
  CHECK(says(book.ask(fmt::format("notes --csv '{}'", file)).err, "is not this answer as CSV"));
  CHECK(book.ask("notes --csv - --json -").status == 2);
}

TEST_CASE("unit: times are local for people, with the zone, and UTC in files") {
  const Book book;
  const char* const zone = "CET-1CEST,M3.5.0,M10.5.0/3";
  CHECK(says(book.ask("setups --arrow cedar", zone).out,
             "heron, may / 2 nock down: 2026-05-30 12:00 to 2026-05-30 12:05 CEST\n"));
  CHECK(says(book.ask("shots --arrow cedar", zone).out, "2026-05-30 11:05 CEST"));
  const auto json = nlohmann::json::parse(book.ask("shots --arrow cedar --json -", zone).out);
  CHECK(json[1]["at"] == "2026-05-30T09:05:00Z");
  CHECK(says(book.ask("shots --arrow cedar --csv -", zone).out, "2026-05-30T09:05:00Z"));
  // What is typed is local too, unless it says Z.
  CHECK(book.ask("note 'string broke' --bow Heron --date 2026-05-30T11:30", zone).status == 0);
  CHECK(nlohmann::json::parse(book.ask("notes --json -", zone).out)[0]["at"] ==
        "2026-05-30T09:30:00Z");
  CHECK(says(book.ask("notes", zone).out, "2026-05-30 11:30 CEST, Heron: string broke\n"));
  CHECK(nlohmann::json::parse(book.ask("shots --since 2026-05-30T11:05:00Z --json -", zone).out)
            .empty());
  CHECK(
      nlohmann::json::parse(book.ask("shots --since 2026-05-30T12:05 --json -", zone).out).size() ==
      1);
  // A day is one's own: at nine in the morning UTC it is the 31st where clocks are 15 h ahead.
  const char* const far = "XXX-15";
  CHECK(nlohmann::json::parse(book.ask("shots --arrow cedar --since 2026-05-31 --json -", far).out)
            .size() == 4);
  const auto before = nlohmann::json::parse(book.ask("before 2026-05-31 --json -", far).out);
  CHECK(before["before"] == "2026-05-31");
  CHECK(before["same_day"].size() == 2);
  CHECK(says(book.ask("before 2026-05-30T11:30", zone).out, "Before 2026-05-30 11:30 CEST\n"));
}

TEST_CASE("unit: a note of a day is of that day, wherever its clocks are") {
  for (const char* const zone : {"XXX5", "UTC0", "XXX-15"}) {
    INFO(zone);
    const Book book;
    CHECK(book.ask("note 'new string' --date 2026-01-01", zone).status == 0);
    CHECK(says(book.ask("notes --since 2026-01-01", zone).out, "new string"));
    CHECK(says(book.ask("notes --until 2026-01-01", zone).out, "new string"));
    CHECK(says(book.ask("notes --year 2026", zone).out, "new string"));
    CHECK_FALSE(says(book.ask("notes --until 2025-12-31", zone).out, "new string"));
    CHECK_FALSE(says(book.ask("notes --since 2026-01-02", zone).out, "new string"));
    CHECK_FALSE(says(book.ask("notes --year 2025", zone).out, "new string"));
    CHECK(book.ask("note 'no such day' --date 2026-02-30T10:00", zone).status == 2);
    CHECK(book.ask("notes --since 2026-02-30", zone).status == 2);
  }
}

TEST_CASE("unit: forget, remember and what was forgotten, by the command") {
  const Book book;
  CHECK(says(book.ask("forget a.mp4").err, "several clips are named"));
  const Ran done = book.ask("forget a.mp4 --session pine");
  CHECK(done.status == 0);
  CHECK(done.out == "pine / 1 nock high / a.mp4: forgotten\n");
  CHECK(nlohmann::json::parse(book.ask("shots --json -").out).size() == 7);
  CHECK(says(book.ask("setups --arrow pine").out, "1 of these forgotten since"));
  CHECK(book.ask("forget --session pine").status == 0);
  CHECK(nlohmann::json::parse(book.ask("shots --json -").out).size() == 4);
  const auto list = nlohmann::json::parse(book.ask("forgotten --json -").out);
  CHECK(list.size() == 2);
  CHECK(says(book.ask("forgotten").out, "session pine (/home/robin/tuning/pine)\n"));
  CHECK(book.ask("remember --session pine").out ==
        "session pine (/home/robin/tuning/pine): remembered\n");
  CHECK(book.ask("remember a.mp4 --session pine").status == 0);
  CHECK(book.ask("forgotten").out == "Nothing is forgotten.\n");
  CHECK(nlohmann::json::parse(book.ask("shots --json -").out).size() == 8);
  const std::string none = (book.folder() / "none.sqlite").string();
  CHECK(run(fmt::format("forget a.mp4 --logbook '{}'", none)).status == 2);
  CHECK_FALSE(fs::exists(none));
}

TEST_CASE("unit: two logbooks become one by the command, twice as once") {
  const Book ours;
  const Book theirs;  // of the same
  CHECK(theirs.ask("note 'string broke'").status == 0);
  const std::string merge = fmt::format("merge '{}'", theirs.file().string());
  CHECK(says(ours.ask(merge).out, "0 sessions, 0 clips, 0 readings and 1 notes came in\n"));
  CHECK(says(ours.ask(merge).out, "all of it was known\n"));
  CHECK(says(ours.ask(fmt::format("merge '{}'", ours.file().string())).err,
             "is what is to be read; nothing was done"));
  CHECK(says(ours.ask("merge none.sqlite").err, "none.sqlite: there is no such logbook"));
  CHECK(says(ours.ask("note broke --bow Hernon").err, "nearly right: \"Heron\""));
}

TEST_CASE("fault: one clear line, exit status 2, nothing on standard output") {
  const Book book;
  const std::string folder = book.folder().path().string();
  test::write(book.folder() / "letter.txt", "dear");
  for (const std::string& arguments :
       {std::string("liked --bow Kite"), std::string("shots --since tomorrow"),
        std::string("shots --year 26"), std::string("shots --year 2026 --since 2026"),
        std::string("before"), std::string("before 2026-05-30 --note x"),
        std::string("before --note dragon"), std::string("compare cedar birch"),
        std::string("compare cedar"), std::string("note ' '"), std::string("export"),
        fmt::format("import '{}/letter.txt'", folder), fmt::format("import '{}/none'", folder),
        std::string("sing"), std::string("")}) {
    INFO(arguments);
    const Ran ran = book.ask(arguments);
    CHECK(ran.status == 2);
    CHECK(ran.out.empty());
    CHECK(on_one_line(ran.err));
    CHECK(ran.err.starts_with("nocktrail: "));
  }
  const Ran none = run(fmt::format("shots --logbook '{}/none.sqlite'", folder));
  CHECK(none.status == 2);
  CHECK(says(none.err, "none.sqlite: there is no logbook here yet"));
  CHECK_FALSE(fs::exists(book.folder() / "none.sqlite"));
  CHECK(on_one_line(run(fmt::format("shots --logbook '{}/letter.txt'", folder)).err));
}
