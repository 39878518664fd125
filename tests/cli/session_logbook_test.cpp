// What `nocktrail session` says of the logbook, and what it leaves there.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <string>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;
using nlohmann::json;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

// Sessions of readings that stand in for clips, and one logbook for all of them.
class Desk {
 public:
  Desk() {
    run_program(fmt::format("demo '{}'", (folder / "demo").string()));
    fs::remove(folder / "demo/logbook.sqlite");
    fs::remove(folder / "demo/6-finished/shot-63.mp4");  // its reading lies beside it
  }
  Ran session(const std::string& name) const {
    return run_program(fmt::format("session --quiet '{}' --logbook '{}'", (folder / name).string(),
                                   book().string()));
  }
  Ran ask(const std::string& question) const {
    return run_program(fmt::format("logbook {} --logbook '{}'", question, book().string()));
  }
  fs::path book() const { return folder / "book.sqlite"; }

  Folder folder;
};

}  // namespace

TEST_CASE("unit: a bow's name never seen is said by the session, once") {
  const Desk desk;
  REQUIRE(desk.session("demo").status == 0);
  fs::create_directory(desk.folder / "next");
  fs::copy(desk.folder / "demo/5-trimmed/shot-51.mp4.reading.json", desk.folder / "next");
  std::string told = content(desk.folder / "demo/session.toml");
  told.replace(told.find("\"Rook Hollow 45\""), 16, "\"Rook Holow 45\"");
  // As the trimmed set-up's readings want it.
  for (const char* name : {"2-nock-down", "3-bare", "4-lighter-tip", "5-trimmed"}) {
    fs::create_directory(desk.folder / "next" / name);
    fs::copy(desk.folder / "demo" / name / "setup.toml", desk.folder / "next" / name);
  }
  fs::rename(desk.folder / "next/shot-51.mp4.reading.json",
             desk.folder / "next/5-trimmed/shot-51.mp4.reading.json");
  desk.folder.write("next/session.toml", told);
  const Ran first = desk.session("next");
  REQUIRE_MESSAGE(first.status == 0, first.err);
  CHECK(says(first.err,
             "bow \"Rook Holow 45\" is new to the logbook; nearly right: \"Rook Hollow "
             "45\", if it is the same one"));
  CHECK_FALSE(says(desk.session("next").err, "new to the logbook"));
  // Its only clip is one of the demo's: it counts there. Twelve of those are from the side.
  CHECK(json::parse(desk.ask("shots --json -").out).size() == 48);
  CHECK(json::parse(desk.ask("setups --json -").out).size() == 6);
  CHECK(says(desk.ask("liked --bow 'Rook Holow 45'").err, "nearly right: \"Rook Hollow 45\""));
}

TEST_CASE("unit: what was forgotten stays so when the session is read again") {
  const Desk desk;
  REQUIRE(desk.session("demo").status == 0);
  CHECK(desk.ask("forget 5-trimmed/shot-52.mp4").status == 0);
  CHECK(desk.session("demo").status == 0);
  CHECK(json::parse(desk.ask("shots --json -").out).size() == 47);
  CHECK(desk.ask(fmt::format("forget --session '{}'", (desk.folder / "demo").string())).status ==
        0);
  CHECK(says(desk.session("demo").err, "this session is forgotten in the logbook"));
  CHECK(desk.ask("shots").out == "No shots.\n");
}

TEST_CASE("unit: an empty folder makes no logbook and leaves nothing in one") {
  const Desk desk;
  fs::create_directory(desk.folder / "empty");
  CHECK(desk.session("empty").status == 3);
  CHECK_FALSE(fs::exists(desk.book()));
  REQUIRE(desk.session("demo").status == 0);
  const std::string all = desk.ask("export --json -").out;
  CHECK(desk.session("empty").status == 3);
  CHECK(desk.ask("export --json -").out == all);
}
