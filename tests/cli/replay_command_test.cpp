// `nocktrail replay` as scripts meet it.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

void write(const fs::path& path, const std::string& bytes) {
  fs::create_directories(path.parent_path());
  std::ofstream(path, std::ios::binary) << bytes;
}

Ran replay(const std::string& arguments) {
  return run_program("replay " + arguments);
}

std::string test_clip(const char* name) {
  return (fs::path(NOCKTRAIL_TEST_CLIPS) / name).string();
}

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

std::size_t files_in(const Folder& folder) {
  std::size_t count = 0;
  for (const auto& entry : fs::directory_iterator(folder.path())) {
    static_cast<void>(entry);
    ++count;
  }
  return count;
}

}  // namespace

TEST_CASE("unit: a replay is written whole, replaced by the next, and no clip to any command") {
  const Folder folder;
  const std::string out = (folder / "evening-replay.mp4").string();
  const Ran ran =
      replay(fmt::format("--hand right --out '{}' '{}'", out, test_clip("portrait-right.mp4")));
  INFO(ran.err);
  REQUIRE(ran.status == 0);
  CHECK(ran.out == out + "\n");
  const std::string film = content(out);
  CHECK(film.substr(4, 4) == "ftyp");
  CHECK(film.size() > 50'000);
  CHECK(film.size() < 3'000'000);
  CHECK(files_in(folder) == 1);
  REQUIRE(replay(fmt::format("--quiet --per-second 6 --out '{}' '{}'", out,
                             test_clip("portrait-right.mp4")))
              .status == 0);
  CHECK(content(out) != film);

  const Ran read = run_program(fmt::format("read '{}'", out));
  CHECK(read.status == 4);
  CHECK(says(read.err + read.out, "is a replay that nocktrail made"));
  // Kept among the clips it is passed over.
  const Folder session;
  write(session / "shot.mp4", content(test_clip("let-down.mp4")));
  write(session / "shot-replay.mp4", content(out));
  const Ran all = run_program(fmt::format("session --no-logbook '{}'", session.path().string()));
  CHECK_FALSE(says(all.out + all.err, "replay"));
  // A clip of that name stays a clip.
  write(session / "dance-replay.mp4", content(test_clip("let-down.mp4")));
  const Ran more = run_program(fmt::format("session --no-logbook '{}'", session.path().string()));
  CHECK(says(more.out + more.err, "dance-replay.mp4"));
}

TEST_CASE("fault: no film is written over a clip, an input, or anything that is not ours") {
  const Folder folder;
  const std::string clip = (folder / "shot.mp4").string();
  const std::string bytes = content(test_clip("portrait-right.mp4"));
  write(clip, bytes);
  write(folder / "other.mp4", content(test_clip("let-down.mp4")));
  write(folder / "words.mp4", "not a film");
  fs::create_symlink(clip, folder / "link.mp4");
  for (const char* name : {"shot.mp4", "link.mp4", "other.mp4", "words.mp4"}) {
    const std::string before = content(folder / name);
    const Ran ran = replay(fmt::format("--out '{}' '{}'", (folder / name).string(), clip));
    CHECK(ran.status == 2);
    CHECK(says(ran.err, "nothing was done"));
    CHECK(content(folder / name) == before);
  }
  CHECK(replay(fmt::format("--out '{}' '{}'", (folder / "a.mov").string(), clip)).status == 2);
  CHECK(replay(fmt::format("--out '{}' '{}'", (folder / "none/a.mp4").string(), clip)).status == 2);
  CHECK(replay(fmt::format("--per-second 0 --out '{}' '{}'", (folder / "a.mp4").string(), clip))
            .status == 2);
  CHECK(replay(fmt::format("'{0}' '{0}' '{0}'", clip)).status == 2);
  CHECK(files_in(folder) == 4);
}

TEST_CASE("unit: of a clip that was not measured nothing is made, and a line says why") {
  const Folder folder;
  const std::string out = (folder / "a.mp4").string();
  const Ran none = replay(fmt::format("--out '{}' '{}'", out, test_clip("let-down.mp4")));
  CHECK(none.status == 3);
  CHECK(says(none.err, "there is no replay of it"));
  CHECK(none.out.empty());
  write(folder / "text.mov", "hello");
  CHECK(replay(fmt::format("--out '{}' '{}'", out, (folder / "text.mov").string())).status == 4);
  CHECK(replay(fmt::format("--out '{}' '{}'", out, (folder / "gone.mov").string())).status == 4);
  CHECK_FALSE(fs::exists(out));
}

TEST_CASE("fault: stopped by Ctrl-C there is no film and no part of one") {
  const Folder folder;
  const std::string out = (folder / "a.mp4").string();
  for (const int wait_ms : {50, 1500}) {
    const pid_t pid = ::fork();
    if (pid == 0) {
      ::execl(NOCKTRAIL_PROGRAM, NOCKTRAIL_PROGRAM, "replay", "--quiet", "--out", out.c_str(),
              test_clip("portrait-right.mp4").c_str(),
              test_clip("portrait-bare-canted.mp4").c_str(), static_cast<char*>(nullptr));
      ::_exit(127);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(wait_ms));
    ::kill(pid, SIGINT);
    int status = 0;
    ::waitpid(pid, &status, 0);
    // Before it listens for the signal, the signal ends it.
    CHECK(((WIFEXITED(status) && WEXITSTATUS(status) == 130) ||
           (WIFSIGNALED(status) && WTERMSIG(status) == SIGINT)));
    CHECK(files_in(folder) == 0);
  }
}

TEST_CASE("unit: within a session the reading that is kept there is taken") {
  const Folder folder;
  write(folder / "session.toml", "hand = \"right\"\n");
  write(folder / "1-start" / "shot.mp4", content(test_clip("portrait-right.mp4")));
  REQUIRE(run_program(fmt::format("session --no-logbook '{}'", folder.path().string())).status ==
          0);
  const std::string clip = (folder / "1-start/shot.mp4").string();
  // The kept reading is made to know no exit: one that is taken from there cannot be laid over
  // another.
  fs::path kept;
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
    kept = entry.path();
  }
  std::string text = content(kept);
  const std::size_t at = text.find("\"exit_s\":");
  REQUIRE(at != std::string::npos);
  text.replace(at, text.find(',', at) - at, "\"exit_s\":null");
  std::ofstream(kept, std::ios::binary) << text;
  const std::string both = fmt::format("--out '{}' '{}' '{}'", (folder / "y-replay.mp4").string(),
                                       test_clip("portrait-right.mp4"), clip);
  const Ran taken = replay(both);
  CHECK(taken.status == 2);
  CHECK(says(taken.err, "shot.mp4: when this arrow left the string is not known"));
  // What the command line tells asks for a reading of its own.
  CHECK(replay("--hand right " + both).status == 0);
}
