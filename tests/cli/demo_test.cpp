// `nocktrail demo`: whole or not at all, out of the user's logbook, and there to be judged anew.
// Where the shipped readings no longer suit the program, tools/demo_readings.sh makes them anew.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>

#include "cli/program.hpp"
#include "nocktrail/version.hpp"

using namespace nocktrail::cli::test;
using nlohmann::json;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

// With a home of its own, so that no logbook of the user can be touched; `before`: what the shell
// is to do first.
Ran run_in(const Folder& folder, const std::string& arguments, const std::string& before = ":") {
  const std::string script = fmt::format(
      "cd '{0}' && {1}; HOME='{0}/home' XDG_DATA_HOME= XDG_CONFIG_HOME= timeout 120 '{2}' {3} "
      ">'{0}/out' 2>'{0}/err' </dev/null",
      (folder / "").string(), before, NOCKTRAIL_PROGRAM, arguments);
  std::ofstream(folder / "script") << script;
  const int raw = std::system(fmt::format("bash '{}'", (folder / "script").string()).c_str());
  Ran ran{WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, content(folder / "out"), content(folder / "err")};
  for (const char* name : {"out", "err", "script"}) {
    fs::remove(folder / name);
  }
  return ran;
}

json session_of(const fs::path& demo) {
  return json::parse(content(demo / "nocktrail-results/session.json"));
}

std::ptrdiff_t lines(const std::string& text) {
  return std::count(text.begin(), text.end(), '\n');
}

}  // namespace

TEST_CASE("unit: the demo is a whole session, and its readings suit this program") {
  const Folder folder;
  const Ran ran = run_in(folder, "demo d");
  REQUIRE_MESSAGE(ran.status == 0, ran.err);
  CHECK(says(ran.out, "Made up, not shot"));
  for (const char* name :
       {"session.toml", "5-trimmed/setup.toml", "logbook.sqlite", "nocktrail-results/report.html",
        "nocktrail-results/build-sheet.html", "nocktrail-results/session.json"}) {
    CAPTURE(name);
    CHECK(fs::file_size(folder / "d" / name) > 0);
  }
  const json session = session_of(folder / "d");
  CHECK(session["next"]["kind"] == "done");
  CHECK_FALSE(session["build_sheet"].is_null());
  CHECK(session["made_up"].is_string());
  int away = 0;
  int there = 0;
  for (const json& setup : session["setups"]) {
    CHECK(setup["counted"] == 6);
    for (const json& clip : setup["clips"]) {
      CAPTURE(clip["file"].get<std::string>());
      CHECK(clip["status"] == "measured");
      CHECK_MESSAGE(clip["program_version"] == nocktrail::kVersion,
                    "shipped readings are of another version: run tools/demo_readings.sh");
      // Filmed in the invented spring, so not read anew by the demo.
      CHECK(says(clip["filmed_at_utc"].get<std::string>(), "2026-0"));
      ++(clip["away"].get<bool>() ? away : there);
      CHECK(clip["still"].is_null() == clip["away"].get<bool>());
    }
  }
  CHECK(away == 47);
  CHECK(there == 1);
  for (const char* page : {"report.html", "build-sheet.html"}) {
    CHECK(says(content(folder / "d/nocktrail-results" / page), "Made up, not shot"));
  }
  CHECK_FALSE(fs::exists(folder / "home"));  // the user's logbook
  CHECK(folder.entries() == 1);
}

TEST_CASE("unit: what is changed in the demo's files changes its judgement") {
  const Folder folder;
  REQUIRE(run_in(folder, "demo d").status == 0);
  const fs::path facts = folder / "d/5-trimmed/setup.toml";
  std::string text = content(facts);
  const std::size_t table = text.find("# [clip");
  const std::size_t drop = text.find("# drop");
  REQUIRE(table != std::string::npos);
  REQUIRE(drop != std::string::npos);
  text.erase(drop, 2);
  text.erase(table, 2);
  std::ofstream(facts) << text;
  const json before = session_of(folder / "d")["setups"][4];
  const Ran ran = run_in(folder, "session d");
  REQUIRE_MESSAGE(ran.status == 0, ran.err);
  const json after = session_of(folder / "d")["setups"][4];
  CHECK(before["counted"] == 6);
  CHECK(after["counted"] == 5);
  CHECK(before["lateral"]["mean_deg"] != after["lateral"]["mean_deg"]);
  CHECK_FALSE(fs::exists(folder / "home"));
  const Ran asked = run_in(folder, "logbook setups --logbook d/logbook.sqlite");
  CHECK(says(asked.out, "Rook Hollow 45"));
}

TEST_CASE("fault: the demo goes into a new or an empty folder and no other") {
  const Folder folder;
  REQUIRE(run_in(folder, "demo empty", "mkdir empty").status == 0);
  const std::ptrdiff_t entries = folder.entries();
  struct Case {
    const char* before;
    const char* where;
    const char* why;
  };
  for (const Case& one :
       {Case{"mkdir full; echo x >full/mine", "full", "not empty"},
        Case{"ln -s empty link", "link", "is a link"},
        Case{"ln -s empty link2", "link2/", "is a link"},
        Case{"ln -s nowhere dangling", "dangling", "is a link"},
        Case{"echo x >file", "file", "not empty"}, Case{":", "none/demo", "cannot be written"}}) {
    CAPTURE(one.where);
    const Ran ran = run_in(folder, fmt::format("demo {}", one.where), one.before);
    CHECK(ran.status == 2);
    CHECK(says(ran.err, one.why));
    CHECK(lines(ran.err) == 1);
    CHECK(ran.out.empty());
  }
  CHECK(folder.entries() == entries + 5);  // what the shell made
  CHECK(content(folder / "full/mine") == "x\n");
}

TEST_CASE("fault: where the demo cannot be written nothing is left") {
  const Folder folder;
  // 700 kB a file: what is shipped fits, a still does not.
  const Ran full = run_in(folder, "demo d", "ulimit -f 700; trap \"\" XFSZ");
  CHECK(full.status != 0);
  CHECK_MESSAGE(lines(full.err) == 1, full.err);
  CHECK(folder.entries() == 0);
  if (::geteuid() != 0) {
    const Ran locked = run_in(folder, "demo locked/d", "mkdir locked; chmod 500 locked");
    CHECK(locked.status == 2);
    CHECK(lines(locked.err) == 1);
    fs::permissions(folder / "locked", fs::perms::owner_all);
  }
  // /proc takes no folders, whoever asks.
  const Ran proc = run_in(folder, "demo /proc/nocktrail-demo");
  CHECK(proc.status == 2);
  CHECK(lines(proc.err) == 1);
}

TEST_CASE("fault: a demo stopped by Ctrl-C leaves nothing, or is whole") {
  for (const int wait_ms : {5, 60, 400, 1500}) {
    CAPTURE(wait_ms);
    const Folder folder;
    const std::string at = (folder / "d").string();
    const pid_t child = ::fork();
    if (child == 0) {
      ::setenv("HOME", (folder / "").c_str(), 1);
      static_cast<void>(::freopen("/dev/null", "w", stdout));
      static_cast<void>(::freopen("/dev/null", "w", stderr));
      ::execl(NOCKTRAIL_PROGRAM, NOCKTRAIL_PROGRAM, "demo", at.c_str(), nullptr);
      ::_exit(127);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(wait_ms));
    ::kill(child, SIGINT);
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    if (WIFEXITED(status) && WEXITSTATUS(status) == 0) {
      CHECK(fs::exists(folder / "d/nocktrail-results/report.html"));
    } else {
      CHECK(folder.entries() == 0);
    }
  }
}
