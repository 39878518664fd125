// No option writes over what it did not write itself: each command, as slips of the hand make it.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <string>
#include <vector>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

// A folder with all that an archer can lose.
class Precious {
 public:
  Precious() {
    std::string pattern = (fs::temp_directory_path() / "nocktrail-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
    fs::create_directories(path_ / "s/1-start");
    write("a.mp4", "no video, but a name");
    write("b.mp4", "another");
    write("letter.txt", "dear");
    write("photo.png", "a photo");
    write("2026.json", "{\"mine\": true}");
    write("s/session.toml", "hand = \"right\"\n");
    write("s/1-start/setup.toml", "cant = 5\n");
    write("s/1-start/c.mp4", "no video either");
    const std::string setup = run("effects --template").out;
    write("bow.toml", setup);
    run("logbook note 'new string' --logbook own.sqlite");
    fs::create_hard_link(path_ / "own.sqlite", path_ / "twin.db");
    run("logbook export --json export.json --logbook own.sqlite");
    before_ = all();
  }
  Precious(const Precious&) = delete;
  Precious& operator=(const Precious&) = delete;
  ~Precious() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }

  // Within the folder, which is home too.
  Ran run(const std::string& arguments) const {
    const std::string command = fmt::format(
        "cd '{0}' && HOME='{0}/home' XDG_DATA_HOME= XDG_CONFIG_HOME= timeout 60 '{1}' {2} "
        ">'{0}.out' 2>'{0}.err' </dev/null",
        path_.string(), NOCKTRAIL_PROGRAM, arguments);
    const int raw = std::system(command.c_str());
    const Ran ran{WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, content(path_.string() + ".out"),
                  content(path_.string() + ".err")};
    fs::remove(path_.string() + ".out");
    fs::remove(path_.string() + ".err");
    return ran;
  }
  // Every file with its bytes.
  std::map<std::string, std::string> all() const {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::recursive_directory_iterator(path_)) {
      files[entry.path().lexically_relative(path_).string()] =
          entry.is_regular_file() ? content(entry.path()) : "";
    }
    return files;
  }
  bool untouched() const { return all() == before_; }
  void write(const std::string& name, const std::string& bytes) const {
    std::ofstream(path_ / name, std::ios::binary) << bytes;
  }
  const fs::path& path() const { return path_; }

 private:
  fs::path path_;
  std::map<std::string, std::string> before_;
};

}  // namespace

TEST_CASE("fault: no option writes over a clip, a logbook, a hand-written or another file") {
  const Precious folder;
  for (const char* arguments : {
           "read --quiet --json a.mp4 b.mp4",  // what a shell makes of: --json *.mp4
           "read --json letter.txt a.mp4",
           "read --json 2026.json a.mp4",
           "read --json own.sqlite a.mp4",
           "read --json twin.db a.mp4",
           "read --json s/session.toml a.mp4",
           "read --json new.mkv a.mp4",
           "read --json export.json a.mp4",
           "read --still photo.png a.mp4",
           "still --out photo.png a.mp4",
           "effects bow.toml --json bow.toml",
           "effects bow.toml --json letter.txt",
           "effects bow.toml --plot letter.txt",
           "effects bow.toml --plot bow.toml",
           "effects bow.toml --plot a.mp4",
           "effects bow.toml --exit-state a.mp4",
           "effects bow.toml --json new.json --plot new.json --exit-state x",
           "effects --start bow.toml --json 2026.json",
           "session s --json s/session.toml",
           "session s --json s/1-start/setup.toml",
           "session s --json s/1-start/c.mp4",
           "session s --json own.sqlite --logbook own.sqlite",
           "session s --json twin.db --logbook own.sqlite",
           "session s --json 2026.json",
           "session s --logbook s/1-start/c.mp4",
           "session s --logbook letter.txt",
           "session s --logbook s/session.toml",
           "watch s --logbook letter.txt",
           "logbook export --json own.sqlite --logbook own.sqlite",
           "logbook export --json twin.db --logbook own.sqlite",
           "logbook export --json a.mp4 --logbook own.sqlite",
           "logbook export --json 2026.json --logbook own.sqlite",
           "logbook export --csv s --logbook own.sqlite",
           "logbook notes --json own.sqlite --logbook own.sqlite",
           "logbook notes --json export.json --logbook own.sqlite",
           "logbook shots --json a.mp4 --logbook own.sqlite",
           "logbook before 2026-01-01 --json letter.txt --logbook own.sqlite",
           "logbook note x --logbook a.mp4",
           "logbook import export.json --logbook export.json",
           "logbook import export.json --logbook letter.txt",
       }) {
    CAPTURE(arguments);
    const Ran ran = folder.run(arguments);
    CAPTURE(ran.err);
    CHECK(ran.status == 2);
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
    CHECK(ran.out.empty());
    CHECK(folder.untouched());
  }
}

TEST_CASE("unit: what an option wrote before, it writes again") {
  const Precious folder;
  struct Row {
    const char* arguments;
    int status;
  };
  for (const Row& row : std::vector<Row>{
           {"read --json r.json a.mp4", 4},
           {"effects bow.toml --draws 20 --json e.json --plot p.svg", 0},
           {"effects bow.toml --draws 20 --start --json range.json", 0},
           {"effects bow.toml --exit-state x.json", 0},
           {"session s --no-logbook --results out --json v.json", 4},
           {"session s --logbook own.sqlite", 4},
           {"session s --no-logbook --json s/nocktrail-results/session.json", 4},
           {"logbook export --json l.json --logbook own.sqlite", 0},
           {"logbook notes --json n.json --logbook own.sqlite", 0},
           {"logbook shots --json shots.json --logbook own.sqlite", 0},
           {"logbook setups --json setups.json --logbook own.sqlite", 0},
           {"logbook liked --json liked.json --logbook own.sqlite", 0},
           {"logbook before 2099-01-01 --json before.json --logbook own.sqlite", 0},
           {"read --quiet --json /dev/null a.mp4", 4},
       }) {
    CAPTURE(row.arguments);
    CHECK(folder.run(row.arguments).status == row.status);
    const Ran again = folder.run(row.arguments);
    CAPTURE(again.err);
    CHECK(again.status == row.status);
  }
  // Standard output by its name, wherever it goes.
  CHECK(folder.run("effects bow.toml --exit-state /dev/stdout").out.starts_with("{"));
}

TEST_CASE("fault: a folder for debug pictures keeps what was in it") {
  const Precious folder;
  fs::create_directory(folder.path() / "d");
  folder.write("d/000.500s-sweeps.png", "mine");
  folder.write("d/notes.txt", "mine too");
  const Ran ran = folder.run("read --debug d a.mp4");
  CHECK(ran.status == 2);
  CHECK(content(folder.path() / "d/000.500s-sweeps.png") == "mine");
}
