// A session that meets a fault of the run: what was published before still stands, nothing new is
// half said, and the next run goes on. The clips are no videos, which reads in no time.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <string>
#include <thread>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

class Session {
 public:
  Session() {
    std::string pattern = (fs::temp_directory_path() / "nocktrail-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
    fs::create_directory(path_ / "s");
    write("s/a.mp4", "no video");
    write("s/b.mp4", "no video either");
  }
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;
  ~Session() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }

  // `before`: what the shell is to do first.
  Ran run(const std::string& arguments, const std::string& before = ":") const {
    const std::string command = fmt::format(
        "cd '{0}' && {1}; HOME='{0}/home' XDG_DATA_HOME= XDG_CONFIG_HOME= timeout 60 '{2}' {3} "
        ">'{0}/out' 2>'{0}/err' </dev/null",
        path_.string(), before, NOCKTRAIL_PROGRAM, arguments);
    const int raw = std::system(("bash -c '" + quoted(command) + "'").c_str());
    return {WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, content(path_ / "out"), content(path_ / "err")};
  }
  void write(const std::string& name, const std::string& bytes) const {
    std::ofstream(path_ / name, std::ios::binary) << bytes;
  }
  fs::path operator/(const std::string& name) const { return path_ / name; }
  // All that is published, and nothing half done beside it.
  std::map<std::string, std::string> published() const {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::directory_iterator(path_ / "s/nocktrail-results")) {
      const std::string name = entry.path().filename().string();
      if (entry.is_regular_file() && name != "files.json") {
        files[name] = content(entry.path());
      }
    }
    files["logbook"] = run("logbook export --json -").out;
    return files;
  }

 private:
  static std::string quoted(const std::string& command) {
    std::string out;
    for (const char c : command) {
      if (c == '\'') {
        out += "'\\''";
      } else {
        out += c;
      }
    }
    return out;
  }

  fs::path path_;
};

// The shell's limit on the size of files, in kilobytes, stands for a full disk.
std::string full_disk(int kilobytes) {
  return fmt::format("trap \"\" XFSZ; ulimit -f {}", kilobytes);
}

}  // namespace

TEST_CASE("fault: a full disk judges, writes and records nothing, and says what remains") {
  const Session session;
  CHECK(session.run("session s").status == 4);
  const auto before = session.published();
  CHECK(before.size() >= 4);
  session.write("s/c.mp4", "a third that is none");
  for (const int kilobytes : {1, 2, 4, 8}) {
    CAPTURE(kilobytes);
    const Ran full = session.run("session s", full_disk(kilobytes));
    CAPTURE(full.err);
    CHECK(full.status == 1);
    CHECK(full.out.empty());
    CHECK(says(full.err, "nothing was judged, written or recorded"));
    CHECK(says(full.err, "cannot be written"));
    CHECK_FALSE(says(full.err, "fault in the program"));
    CHECK(session.published() == before);
  }
  const Ran room = session.run("session s");
  CHECK(room.status == 4);
  CHECK(says(content(session / "s/nocktrail-results/session.json"), "c.mp4"));
  CHECK(says(session.run("logbook export --json -").out, "c.mp4"));
}

TEST_CASE("fault: a logbook that cannot be written leaves the report as it was") {
  const Session session;
  CHECK(session.run("session s").status == 4);
  const auto before = session.published();
  session.write("s/c.mp4", "a third that is none");
  // A database of somebody else.
  session.run("logbook note x --logbook other.sqlite");
  const fs::path locked = session / "other.sqlite";
  std::string bytes = content(locked);
  bytes.replace(68, 4, "abcd");  // the application's number, in the header of SQLite's format
  std::ofstream(locked, std::ios::binary) << bytes;
  const Ran ran = session.run("session s --logbook other.sqlite");
  CAPTURE(ran.err);
  CHECK(ran.status == 1);
  CHECK(ran.out.empty());
  CHECK(says(ran.err, "is a database of another program"));
  CHECK(says(ran.err, "--no-logbook"));
  CHECK(says(ran.err, "nothing was judged, written or recorded"));
  CHECK(session.published() == before);
  CHECK(session.run("session s --no-logbook").status == 4);
  CHECK(says(content(session / "s/nocktrail-results/session.json"), "c.mp4"));
}

TEST_CASE("fault: links among the results lead nowhere") {
  const Session session;
  session.write("diary", "mine");
  fs::create_directory(session / "s/nocktrail-results");
  for (const char* name : {"report.html", "session.json", "build-sheet.html"}) {
    fs::create_symlink("../../diary", (session / "s/nocktrail-results") / name);
  }
  CHECK(session.run("session s").status == 4);
  CHECK(content(session / "diary") == "mine");
  CHECK(says(content(session / "s/nocktrail-results/report.html"), "<html"));
  // What the user names is followed.
  fs::create_symlink("real.json", session / "link.json");
  CHECK(session.run("session s --json link.json").status == 4);
  CHECK(fs::is_symlink(session / "link.json"));
  CHECK(says(content(session / "real.json"), "nocktrail.session/2"));
}

TEST_CASE("fault: TERM ends the program, whatever it waits for") {
  const Session session;
  const auto ended = [&](const std::string& arguments) {
    const pid_t child = ::fork();
    if (child == 0) {
      const fs::path home = session / "home";
      ::setenv("HOME", home.c_str(), 1);
      ::unsetenv("XDG_DATA_HOME");
      const int quiet = ::open("/dev/null", O_RDWR);
      ::dup2(quiet, STDOUT_FILENO);
      ::dup2(quiet, STDERR_FILENO);
      const std::string command = fmt::format("cd '{}' && exec '{}' {}", (session / "").string(),
                                              NOCKTRAIL_PROGRAM, arguments);
      ::execl("/bin/sh", "sh", "-c", command.c_str(), nullptr);
      ::_exit(127);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(1500));
    ::kill(child, SIGTERM);
    // Some seconds of grace are the program's; the rest is a busy machine's.
    for (int i = 0; i < 600; ++i) {
      int status = 0;
      if (::waitpid(child, &status, WNOHANG) == child) {
        return true;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(100));
    }
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    return false;
  };
  REQUIRE(::mkfifo((session / "pipe").c_str(), 0600) == 0);
  CHECK(ended("read --json pipe s/a.mp4"));  // nobody ever reads the pipe
  CHECK(ended("logbook import pipe"));
  CHECK(ended("watch s"));
  REQUIRE(::mkfifo((session / "s/session.toml").c_str(), 0600) == 0);
  CHECK(ended("session s"));
  CHECK(ended("watch s"));
  // And is no wait at all where the pipe is in the place of a file written by hand.
  CHECK(session.run("session s").status == 2);
  CHECK(session.run("effects pipe").status == 2);
  CHECK(session.run("still --setup pipe s/a.mp4").status == 2);
}

TEST_CASE("fault: readings taken into a session: what is a clip's fault, and what ends the run") {
  const Session session;
  session.write("s/session.toml", "hand = \"right\"\n");
  session.write("elsewhere.mp4", "no video");
  const Ran told = session.run("read --into s --cant 10 s/a.mp4");
  CHECK(told.status == 2);
  CHECK(says(told.err, "--into: the session's own files tell"));
  // A clip of no session is passed over, the next is read (and is none).
  const Ran other = session.run("read --into s elsewhere.mp4 s/b.mp4");
  CHECK(other.status == 4);
  CHECK(says(other.err, "elsewhere.mp4: is no clip of the session"));
  CHECK(says(other.err, "b.mp4"));
  // No room: said once, and no use in going on.
  // Its long name, in path and reason, makes the reading larger than the room there is.
  const std::string name = "s/" + std::string(230, 'n') + ".mp4";
  session.write(name, "another that is none");
  const Ran full = session.run(fmt::format("read --into s {} elsewhere.mp4", name), full_disk(1));
  CHECK(full.status == 1);
  CHECK(says(full.err, "cannot be written"));
  CHECK_FALSE(says(full.err, "elsewhere.mp4"));
  CHECK(session.run("read --into s " + name).status == 4);
}
