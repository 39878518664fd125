// A process that writes is killed at any instant; the file must hold what was there before a call
// or what is there after it, and nothing that a call returned from may be missing.
#include <doctest/doctest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <random>
#include <thread>
#include <vector>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using test::ask;

namespace fs = std::filesystem;

namespace {

constexpr int kClips = 20;

// All that changes from one round to the next carries the round's number.
tune::SessionRecord session_of_round(int round) {
  tune::SessionRecord session = test::heron_session();
  session.name = std::to_string(round);
  session.setups.resize(1);
  session.setups[0].facts.notes = std::to_string(round);
  session.setups[0].clips.clear();
  for (int i = 0; i < kClips; ++i) {
    session.setups[0].clips.push_back(test::clip(fmt::format("{}.mp4", i), fmt::format("sha{}", i),
                                                 "2026-05-30T09:00:00Z", round, 0.0));
  }
  return session;
}

tune::SessionJudgement judgement_of_round(int round) {
  tune::SessionJudgement judgement = test::heron_judgement();
  judgement.setups.resize(1);
  judgement.setups[0].counted = round;
  judgement.next.words = std::to_string(round);
  return judgement;
}

// Rounds from `first` on until killed; each that is done is told to `done_to`.
[[noreturn]] void write_until_killed(const fs::path& file, int first, int done_to) {
  try {
    Logbook logbook(file);
    for (int round = first;; ++round) {
      logbook.record(session_of_round(round), judgement_of_round(round));
      static_cast<void>(::write(done_to, &round, sizeof round));
    }
  } catch (...) {
  }
  ::_exit(9);  // must not come here
}

struct UsualTimes {
  unsigned making_us = 0;  // of the process and the file, to the end of the first round
  unsigned round_us = 0;   // of each further one
};

// How long things take here, with what else the machine does now: kills are to fall among them.
UsualTimes usual_times_us(const fs::path& file) {
  int done[2];
  REQUIRE(::pipe(done) == 0);
  const auto from = std::chrono::steady_clock::now();
  const auto elapsed_us = [&] {
    return static_cast<unsigned>(std::chrono::duration_cast<std::chrono::microseconds>(
                                     std::chrono::steady_clock::now() - from)
                                     .count());
  };
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    ::close(done[0]);  // so that it ends with its parent
    write_until_killed(file, 0, done[1]);
  }
  ::close(done[1]);
  constexpr int kFurther = 4;
  int round = 0;
  REQUIRE(::read(done[0], &round, sizeof round) == sizeof round);
  const unsigned making_us = elapsed_us();
  while (round < kFurther) {
    REQUIRE(::read(done[0], &round, sizeof round) == sizeof round);
  }
  const unsigned all_us = elapsed_us();
  ::close(done[0]);
  ::kill(child, SIGKILL);
  int status = 0;
  ::waitpid(child, &status, 0);
  return {making_us, std::max(1u, (all_us - making_us) / kFurther)};
}

// The round that the file holds, the same everywhere in it; -1 for an empty file.
int round_in(const fs::path& file) {
  if (!fs::exists(file) ||
      ask(file, "SELECT count(*) FROM sqlite_master WHERE name = 'sessions'") == "0\n") {
    return -1;
  }
  const std::string name = ask(file, "SELECT name FROM sessions");
  if (name.empty()) {
    return -1;
  }
  const int round = std::stoi(name);
  CHECK(ask(file, "SELECT notes FROM setups") == name);
  CHECK(ask(file, "SELECT words FROM advice WHERE current = 1") == name);
  CHECK(ask(file, "SELECT counted FROM verdicts WHERE current = 1") == name);
  CHECK(ask(file,
            "SELECT count(*), min(nock_right_deg), max(nock_right_deg) FROM readings WHERE "
            "current = 1") == fmt::format("{}|{:.1f}|{:.1f}\n", kClips, 1.0 * round, 1.0 * round));
  CHECK(ask(file, "SELECT count(*) FROM readings") == fmt::format("{}\n", kClips * (round + 1)));
  return round;
}

}  // namespace

TEST_CASE("fault: killed at any instant, a logbook is whole and keeps what was recorded") {
  const test::Folder folder;
  const auto [making_us, round_us] = usual_times_us(folder / "timed.sqlite");
  std::mt19937 random(20261125);  // its bare output is the same everywhere
  int rounds_kept = 0;
  int killed_inside = 0;
  for (int file_number = 0; file_number < 3; ++file_number) {  // new files: killed in the making
    const fs::path file = folder / fmt::format("{}.sqlite", file_number);
    int known = -1;
    for (int kill = 0; kill < 15; ++kill) {
      int done[2];
      REQUIRE(::pipe(done) == 0);
      const pid_t child = ::fork();
      REQUIRE(child >= 0);
      if (child == 0) {
        ::close(done[0]);
        write_until_killed(file, known + 1, done[1]);
      }
      ::close(done[1]);
      // Short at first, when the file is made; then into the rounds.
      const unsigned longest_us = kill < 5 ? making_us : making_us + 8 * round_us;
      std::this_thread::sleep_for(std::chrono::microseconds(random() % longest_us));
      ::kill(child, SIGKILL);
      int status = 0;
      ::waitpid(child, &status, 0);
      REQUIRE(WIFSIGNALED(status));
      int last_done = known;
      int round = 0;
      while (::read(done[0], &round, sizeof round) == sizeof round) {
        last_done = round;
      }
      ::close(done[0]);
      if (fs::exists(file)) {
        if (kill % 2 == 1) {  // by turns the logbook and SQLite itself meet what was left behind
          logbook::OpenOptions reading;
          reading.access = logbook::Access::read;
          CHECK(logbook::setups(Logbook(file, reading), {}).size() <= 1);
        }
        test::check_integrity(file);
      }
      known = round_in(file);
      // At most the round that had not returned yet is there beside those that had.
      CHECK(known >= last_done);
      CHECK(known <= last_done + 1);
      killed_inside += known == last_done ? 1 : 0;
    }
    rounds_kept += known + 1;
  }
  CHECK(rounds_kept > 0);
  CHECK(killed_inside > 0);
}

TEST_CASE("fault: several processes make the same new file and record in it at once") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  constexpr int kProcesses = 4;
  constexpr int kSessions = 5;
  std::vector<pid_t> children;
  for (int process = 0; process < kProcesses; ++process) {
    const pid_t child = ::fork();
    if (child == 0) {
      int failures = kSessions;
      try {
        // SQLite's waiting is by lot: on a busy machine five seconds may pass without the turn.
        logbook::OpenOptions patient;
        patient.busy_timeout_ms = 60000;
        Logbook logbook(file, patient);
        for (int i = 0; i < kSessions; ++i) {
          tune::SessionRecord session = session_of_round(0);
          session.folder = fmt::format("/home/robin/{}/{}", process, i);
          for (tune::ClipRecord& clip : session.setups[0].clips) {
            clip.sha256 += session.folder;
          }
          logbook.record(session, judgement_of_round(0));
          --failures;
        }
      } catch (const std::exception& fault) {
        fmt::print(stderr, "process {}: {}\n", process, fault.what());
      }
      ::_exit(failures);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    ::waitpid(child, &status, 0);
    CHECK(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 0);
  }
  test::check_integrity(file);
  CHECK(ask(file, "SELECT count(*) FROM sessions") == fmt::format("{}\n", kProcesses * kSessions));
  CHECK(ask(file, "SELECT count(*) FROM readings") ==
        fmt::format("{}\n", kProcesses * kSessions * kClips));
  CHECK(ask(file, "SELECT count(*) FROM bows") == "1\n");
}
