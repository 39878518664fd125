#include "nocktrail/logbook/merge.hpp"

#include <doctest/doctest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <random>
#include <string>
#include <thread>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/forget.hpp"
#include "nocktrail/logbook/transfer.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using logbook::Merged;
using test::ask;
using test::complaint;
using test::says;

namespace fs = std::filesystem;

namespace {

// A session of its own clips.
tune::SessionRecord session_named(const std::string& name, const std::string& folder) {
  tune::SessionRecord session = test::heron_session();
  session.name = name;
  session.folder = folder;
  for (tune::SetupRecord& setup : session.setups) {
    for (tune::ClipRecord& clip : setup.clips) {
      clip.sha256 += name;
    }
  }
  return session;
}

Merged merged(const fs::path& into, const fs::path& from) {
  logbook::OpenOptions copy;
  copy.access = logbook::Access::copy;
  const Logbook other(from, copy);
  Logbook logbook(into);
  return logbook::merge(logbook, other);
}

std::string everything(const fs::path& file) {
  return logbook::json_text(Logbook(file));
}

}  // namespace

TEST_CASE("unit: another logbook's sessions, notes and marks come in, once") {
  const test::Folder folder;
  const fs::path ours = folder / "ours.sqlite";
  const fs::path theirs = folder / "theirs.sqlite";
  {
    Logbook logbook(ours);
    logbook.record(session_named("here", "/home/robin/here"), test::heron_judgement());
    logbook.add_note({"2026-05-01", "new string", "Heron"});
  }
  {
    Logbook logbook(theirs);
    tune::SessionRecord session = session_named("there", "/home/robin/there");
    logbook.record(session, test::heron_judgement());
    session.setups[0].clips[0].program_version = "0.2.0";
    session.setups[0].facts.bow.draw_weight_n = 205.0;  // a bow told of otherwise: another row
    logbook.record(session, test::heron_judgement());
    logbook.add_note({"2026-05-01", "new string", "Heron"});
    logbook.add_note({"2026-05-02", "string broke", ""});
    logbook::forget(logbook, {"", "c.mp4"});
  }
  const std::string before = test::content(theirs);
  const Merged first = merged(ours, theirs);
  CHECK(first.sessions == 1);
  CHECK(first.clips == 4);
  CHECK(first.readings == 5);  // one clip was read twice
  CHECK(first.notes == 1);
  CHECK(first.told_otherwise.empty());
  CHECK(logbook::shots(Logbook(ours), {}).size() == 7);
  CHECK(logbook::shots(Logbook(ours), {}, true).size() == 8);
  CHECK(logbook::setups(Logbook(ours), {}).size() == 4);
  CHECK(logbook::notes(Logbook(ours), {}).size() == 2);
  CHECK(logbook::forgotten(Logbook(ours)).size() == 1);
  test::check_integrity(ours);
  const std::string all = everything(ours);
  CHECK(merged(ours, theirs).rows == 0);
  CHECK(everything(ours) == all);
  CHECK(test::content(theirs) == before);
  CHECK_FALSE(fs::exists(theirs.string() + "-wal"));
  CHECK_FALSE(fs::exists(theirs.string() + "-shm"));
  // Into an empty one it is a copy; and each then knows what the other does.
  CHECK(merged(folder / "new.sqlite", theirs).clips == 4);
  CHECK(logbook::json_text(Logbook(folder / "new.sqlite")) == everything(theirs));
  CHECK(merged(theirs, ours).sessions == 1);
  CHECK(logbook::shots(Logbook(theirs), {}).size() == 7);
}

TEST_CASE("unit: what both know stays as it is here, the other's readings are history") {
  const test::Folder folder;
  const fs::path ours = folder / "ours.sqlite";
  const fs::path theirs = folder / "theirs.sqlite";
  const tune::SessionRecord session = session_named("s", "/home/robin/s");
  Logbook(ours).record(session, test::heron_judgement());
  tune::SessionRecord other = session;
  other.setups[0].facts.bow.string = "12 strands";
  other.setups[0].clips[0].program_version = "0.2.0";
  other.setups[0].clips[0].reading.shots[0].nock_right_deg->value = -2.25;
  other.setups[1].clips[0].read_at_utc = "2026-06-02T08:00:00Z";  // the same reading, made again
  other.setups[1].clips.push_back(test::clip("e.mp4", "ee", "2026-05-30T11:00:00Z", -1.0, 0.0));
  tune::SessionJudgement judgement = test::heron_judgement();
  judgement.setups[1].counted = 3;
  Logbook(theirs).record(other, judgement);

  const Merged done = merged(ours, theirs);
  CHECK(done.sessions == 0);
  CHECK(done.clips == 1);
  CHECK(done.readings == 2);
  CHECK(done.told_otherwise == std::vector<std::string>{"s / 1 nock high"});
  CHECK(ask(ours, "SELECT string FROM setups") == "14 strands\n14 strands\n");
  CHECK(ask(ours,
            "SELECT program_version, nock_right_deg, current FROM readings JOIN clips ON clips.id "
            "= clip_id WHERE file = 'a.mp4' ORDER BY readings.id") ==
        "0.1.0|-2.5|1\n0.2.0|-2.25|0\n");
  CHECK(ask(ours, "SELECT counted, current FROM verdicts ORDER BY id") == "2|1\n2|1\n3|0\n");
  CHECK(ask(ours,
            "SELECT current FROM readings JOIN clips ON clips.id = clip_id WHERE file = "
            "'e.mp4'") == "1\n");
  const std::string all = everything(ours);
  CHECK(merged(ours, theirs).rows == 0);
  CHECK(everything(ours) == all);
  // The folder read again here finds its rows as it left them.
  CHECK(Logbook(ours).record(session, test::heron_judgement()).readings_added == 0);
  test::check_integrity(ours);
}

TEST_CASE("unit: the same path on two computers may hold two sessions") {
  const test::Folder folder;
  const fs::path ours = folder / "ours.sqlite";
  const fs::path theirs = folder / "theirs.sqlite";
  Logbook(ours).record(session_named("one", "/home/robin/spring"), test::heron_judgement());
  Logbook(theirs).record(session_named("two", "/home/robin/spring"), test::heron_judgement());
  CHECK(merged(ours, theirs).sessions == 1);
  CHECK(merged(ours, theirs).rows == 0);
  CHECK(logbook::shots(Logbook(ours), {}).size() == 8);
  CHECK(ask(ours, "SELECT name, folder FROM sessions") ==
        "one|/home/robin/spring\ntwo|/home/robin/spring (2)\n");
}

TEST_CASE("unit: an older version is merged, and its file left as it is") {
  for (const char* name : {"version_1.sql", "version_4.sql"}) {
    const test::Folder folder;
    const fs::path ours = folder / "ours.sqlite";
    const fs::path theirs = folder / "theirs.sqlite";
    test::tell(theirs, test::content(fs::path(NOCKTRAIL_LOGBOOK_TESTS) / name));
    const std::string before = test::content(theirs);
    Logbook(ours).record(session_named("one", "/home/robin/spring"), test::heron_judgement());
    CHECK(merged(ours, theirs).sessions == 1);
    CHECK(merged(ours, theirs).rows == 0);
    CHECK(test::content(theirs) == before);
    test::check_integrity(ours);
  }
}

TEST_CASE("unit: what another process is still writing is read as it stands") {
  const test::Folder folder;
  const fs::path ours = folder / "ours.sqlite";
  const fs::path theirs = folder / "theirs.sqlite";
  Logbook open(theirs);  // its rows lie in the write-ahead log
  open.record(session_named("two", "/home/robin/spring"), test::heron_judgement());
  const std::string before = test::content(theirs);
  CHECK(fs::file_size(theirs.string() + "-wal") > 0);
  CHECK(merged(ours, theirs).clips == 4);
  CHECK(test::content(theirs) == before);
}

TEST_CASE("fault: what is no logbook, or damaged inside, is refused and nothing changed") {
  const test::Folder folder;
  const fs::path ours = folder / "ours.sqlite";
  const fs::path theirs = folder / "theirs.sqlite";
  Logbook(ours).record(session_named("one", "/home/robin/spring"), test::heron_judgement());
  const std::string all = everything(ours);
  const auto refused = [&](const std::string& sql) {
    fs::remove(theirs);
    Logbook(theirs).record(session_named("two", "/home/robin/two"), test::heron_judgement());
    test::tell(theirs, "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON; " + sql);
    const std::string line = complaint([&] { merged(ours, theirs); });
    CHECK(everything(ours) == all);
    return line;
  };
  CHECK(says(refused("UPDATE setups SET bow_id = 77"), "damaged"));
  CHECK(says(refused("UPDATE readings SET nock_right_deg = 1e300"),
             "table \"readings\", row 1: column \"nock_right_deg\" holds"));
  CHECK(says(refused("UPDATE clips SET filmed_at = 'soon'"), "which is no date"));
  CHECK(says(refused("PRAGMA user_version = 99"), "written by a newer nocktrail"));
  CHECK(says(refused("PRAGMA application_id = 5"), "another program"));
  CHECK(says(complaint([&] { merged(ours, folder / "none.sqlite"); }), "there is no such logbook"));
  CHECK_FALSE(fs::exists(folder / "none.sqlite"));
  test::write(folder / "letter.txt", "dear");
  CHECK(says(complaint([&] { merged(ours, folder / "letter.txt"); }), "is not a logbook"));
}

TEST_CASE("fault: killed while it merges, a logbook holds all of it or nothing") {
  const test::Folder folder;
  const fs::path theirs = folder / "theirs.sqlite";
  {
    Logbook logbook(theirs);
    for (int i = 0; i < 40; ++i) {
      const std::string name = std::to_string(i);
      logbook.record(session_named(name, "/home/robin/" + name), test::heron_judgement());
    }
  }
  std::mt19937 random(20261129);  // its bare output is the same everywhere
  int unfinished = 0;
  for (int kill = 0; kill < 12; ++kill) {
    const fs::path ours = folder / fmt::format("{}.sqlite", kill);
    Logbook(ours).record(session_named("own", "/home/robin/own"), test::heron_judgement());
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      try {
        merged(ours, theirs);
      } catch (...) {
      }
      ::_exit(0);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(random() % 120));
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    test::check_integrity(ours);
    const std::string sessions = ask(ours, "SELECT count(*) FROM sessions");
    const bool whole = sessions == "41\n";
    unfinished += whole ? 0 : 1;
    CHECK((whole || sessions == "1\n"));
    CHECK(ask(ours, "SELECT count(*) FROM readings") == (whole ? "164\n" : "4\n"));
  }
  CHECK(unfinished > 0);
}
