// The file: where it lies, how it is opened, brought up to date, and what is said when it cannot
// be used.
#include <doctest/doctest.h>

#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <optional>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Access;
using logbook::Logbook;
using logbook::OpenOptions;
using test::ask;
using test::complaint;
using test::says;

namespace fs = std::filesystem;

namespace {

class Variable {
 public:
  Variable(const char* name, const std::optional<std::string>& value) : name_(name) {
    if (const char* old = std::getenv(name)) {
      old_ = old;
    }
    set(value);
  }
  Variable(const Variable&) = delete;
  Variable& operator=(const Variable&) = delete;
  ~Variable() { set(old_); }

 private:
  void set(const std::optional<std::string>& value) {
    value ? ::setenv(name_, value->c_str(), 1) : ::unsetenv(name_);
  }
  const char* name_;
  std::optional<std::string> old_;
};

// Rights bind everyone but root: root becomes nobody for a while.
class WithoutRights {
 public:
  WithoutRights() {
    if (was_ == 0) {
      REQUIRE(::seteuid(65534) == 0);
    }
  }
  WithoutRights(const WithoutRights&) = delete;
  WithoutRights& operator=(const WithoutRights&) = delete;
  ~WithoutRights() {
    if (was_ == 0) {
      static_cast<void>(::seteuid(0));
    }
  }

 private:
  uid_t was_ = ::geteuid();
};

// Runs `job` in a process of its own; true when it returned true.
template <typename Job>
bool in_child(Job&& job) {
  const pid_t child = ::fork();
  if (child == 0) {
    bool good = false;
    try {
      good = job();
    } catch (...) {
    }
    ::_exit(good ? 0 : 1);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

tune::SessionRecord numbered_session(int number) {
  tune::SessionRecord session = test::heron_session();
  session.folder = fmt::format("/home/robin/{}", number);
  for (tune::SetupRecord& setup : session.setups) {
    for (tune::ClipRecord& clip : setup.clips) {
      clip.sha256 += std::to_string(number);  // other clips: else it is the same session, moved
    }
  }
  return session;
}

}  // namespace

TEST_CASE("reference: the file lies where the XDG Base Directory Specification 0.8 says") {
  {
    const Variable home("HOME", "/home/robin");
    const Variable data("XDG_DATA_HOME", "/data/robin");
    CHECK(logbook::default_file() == "/data/robin/nocktrail/logbook.sqlite");
  }
  const Variable home("HOME", "/home/robin");
  for (const auto& not_usable : {std::optional<std::string>(), std::optional<std::string>(""),
                                 std::optional<std::string>("relative/path")}) {
    // "If $XDG_DATA_HOME is either not set or empty, a default equal to $HOME/.local/share should
    // be used"; "consider the path invalid and ignore it" when relative.
    const Variable data("XDG_DATA_HOME", not_usable);
    CHECK(logbook::default_file() == "/home/robin/.local/share/nocktrail/logbook.sqlite");
  }
}

TEST_CASE("reference: the folder is made with mode 0700, as that specification says") {
  const test::Folder folder;
  const fs::path file = folder / "data" / "nocktrail" / "logbook.sqlite";
  Logbook logbook(file);
  for (const char* made : {"data", "data/nocktrail"}) {
    CHECK((fs::status(folder / made).permissions() & fs::perms::all) == fs::perms::owner_all);
  }
}

TEST_CASE("unit: a new file is in write-ahead mode, signed, of the present version, and empty") {
  const test::Folder folder;
  const fs::path file = folder / "with ? % # in its name.sqlite";
  Logbook logbook(file);
  CHECK(ask(file, "PRAGMA journal_mode") == "wal\n");
  CHECK(ask(file, "PRAGMA user_version") == "6\n");
  CHECK(ask(file, "PRAGMA application_id") == fmt::format("{}\n", 0x6e6b7472));
  CHECK(test::content(file).substr(0, 15) == "SQLite format 3");  // sqlite.org/fileformat.html
  CHECK(logbook::setups(logbook, {}).empty());
}

TEST_CASE("unit: a file of version 1 is brought up to date, and nothing in it is lost") {
  // version_1.sql: what the program of version 1 wrote, as SQLite's own command line dumped it.
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  test::tell(file, test::content(fs::path(NOCKTRAIL_LOGBOOK_TESTS) / "version_1.sql"));
  CHECK(ask(file, "PRAGMA user_version") == "1\n");
  // Each table with the columns that version 1 gave it.
  const auto as_in_version_1 = [&](const std::string& table) {
    std::string columns = ask(file, fmt::format("SELECT name FROM pragma_table_info('{}')", table));
    columns.pop_back();
    std::replace(columns.begin(), columns.end(), '\n', ',');
    return fmt::format("SELECT {} FROM {} ORDER BY id", columns, table);
  };
  const std::string of_readings = as_in_version_1("readings");
  const std::string of_setups = as_in_version_1("setups");
  const std::string of_verdicts = as_in_version_1("verdicts");
  const std::string readings = ask(file, of_readings);
  const std::string setups = ask(file, of_setups);
  const std::string verdicts = ask(file, of_verdicts);
  SUBCASE("opened for writing") {
    Logbook logbook(file);
    CHECK(logbook::notes(logbook, {}).at(0).text == "string broke");
  }
  SUBCASE("opened for reading") {
    OpenOptions options;
    options.access = Access::read;
    Logbook logbook(file, options);
    CHECK(logbook::setups(logbook, {}).size() == 2);
  }
  CHECK(ask(file, "PRAGMA user_version") == "6\n");
  CHECK(ask(file, of_readings) == readings);
  CHECK(ask(file, of_setups) == setups);
  CHECK(ask(file, of_verdicts) == verdicts);
  CHECK(ask(file, "SELECT count(*), count(outlier) FROM shots") == "4|0\n");
  test::check_integrity(file);
  // The same session, recorded by the present program, knows more of each shot (by whose word the
  // bow stood how): new readings, the old ones kept as history, and once only.
  const auto again = [&] {
    return Logbook(file).record(test::heron_session(), test::heron_judgement()).readings_added;
  };
  CHECK(again() == 4);
  CHECK(ask(file, "SELECT count(*) FROM readings WHERE current = 0") == "4\n");
  CHECK(again() == 0);

  // And the tables are those of a new file.
  const fs::path fresh = folder / "fresh.sqlite";
  { Logbook made(fresh); }
  const std::string tables =
      "SELECT m.name, c.name, c.type, c.\"notnull\" FROM sqlite_master AS m, "
      "pragma_table_info(m.name) AS c WHERE m.type = 'table' ORDER BY m.name, c.cid";
  CHECK(ask(file, tables) == ask(fresh, tables));
}

TEST_CASE("unit: a file of version 4 is brought up to date, and nothing in it is lost") {
  // version_4.sql: what the program of version 4 wrote, as SQLite's own command line dumped it.
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  test::tell(file, test::content(fs::path(NOCKTRAIL_LOGBOOK_TESTS) / "version_4.sql"));
  const std::string rows =
      "SELECT clips.file, sha256, filmed_at, nock_right_deg, bow_right_deg, read_at, setups.name, "
      "folder FROM readings JOIN clips ON clips.id = clip_id JOIN setups ON setups.id = setup_id "
      "JOIN sessions ON sessions.id = clips.session_id ORDER BY readings.id";
  const std::string before = ask(file, rows);
  CHECK(std::count(before.begin(), before.end(), '\n') == 6);
  {
    Logbook logbook(file);
    CHECK(logbook::shots(logbook, {}).size() == 6);
    CHECK(logbook::setups(logbook, {}).size() == 2);
    CHECK(logbook::notes(logbook, {}).at(0).text == "string broke");
  }
  CHECK(ask(file, "PRAGMA user_version") == "6\n");
  CHECK(ask(file, rows) == before);
  CHECK(ask(file, "SELECT count(forgotten_at) FROM clips") == "0\n");
  test::check_integrity(file);
}

TEST_CASE("fault: a logbook of a newer version is refused and left alone") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook(file).record(test::heron_session(), test::heron_judgement());
  test::tell(file, "PRAGMA user_version = 7");
  const std::string bytes = test::content(file);
  for (const Access access : {Access::read, Access::write}) {
    OpenOptions options;
    options.access = access;
    const std::string line = complaint([&] { Logbook logbook(file, options); });
    CHECK(says(line, file.string()));
    CHECK(says(line, "version 6"));
    CHECK(says(line, "newer nocktrail"));
  }
  CHECK(test::content(file) == bytes);
}

TEST_CASE("fault: another program's database, a file that is none, a folder") {
  const test::Folder folder;
  const fs::path other = folder / "other.sqlite";
  test::tell(other, "CREATE TABLE birds (name TEXT)");
  const std::string other_bytes = test::content(other);
  CHECK(says(complaint([&] { Logbook logbook(other); }), "other.sqlite: is a database of another"));
  CHECK(test::content(other) == other_bytes);

  const fs::path letter = folder / "letter.txt";
  test::write(letter, std::string(5000, 'x'));
  CHECK(says(complaint([&] { Logbook logbook(letter); }), "letter.txt: is not a logbook"));
  CHECK(test::content(letter) == std::string(5000, 'x'));

  CHECK(says(complaint([&] { Logbook logbook(folder.path()); }), "is a folder"));
  CHECK(says(complaint([&] { Logbook logbook(letter / "logbook.sqlite"); }), "cannot be made"));

  OpenOptions reading;
  reading.access = Access::read;
  CHECK(says(complaint([&] { Logbook logbook(folder / "none.sqlite", reading); }),
             "there is no logbook here yet"));
  CHECK_FALSE(fs::exists(folder / "none.sqlite"));
}

TEST_CASE("fault: a damaged file is named as such and left alone") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook(file).record(test::heron_session(), test::heron_judgement());
  const std::string good = test::content(file);
  for (const std::size_t page : {1U, 5U, 9U}) {  // of 4096 bytes, from 0
    std::string bad = good;
    REQUIRE(bad.size() > (page + 1) * 4096);
    for (std::size_t i = page * 4096; i < (page + 1) * 4096; ++i) {
      bad[i] = static_cast<char>(i * 37 % 251);
    }
    test::write(file, bad);
    for (const Access access : {Access::read, Access::write}) {
      OpenOptions options;
      options.access = access;
      const std::string line = complaint([&] { Logbook logbook(file, options); });
      CHECK(says(line, "logbook.sqlite: this logbook is damaged"));
      CHECK(says(line, "move it aside"));
    }
    CHECK(test::content(file) == bad);
  }
  test::write(file, good.substr(0, good.size() / 2));  // cut short
  CHECK(says(complaint([&] { Logbook logbook(file); }), "damaged"));
}

TEST_CASE("fault: a logbook locked by another process") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook(file).record(test::heron_session(), test::heron_judgement());
  int ready[2];
  int finish[2];
  REQUIRE(::pipe(ready) == 0);
  REQUIRE(::pipe(finish) == 0);
  const pid_t child = ::fork();
  if (child == 0) {
    SQLite::Database database(file.string(), SQLite::OPEN_READWRITE, 1000);
    database.exec("BEGIN IMMEDIATE");
    char byte = 'r';
    static_cast<void>(::write(ready[1], &byte, 1));
    static_cast<void>(::read(finish[0], &byte, 1));
    ::_exit(0);
  }
  char byte = 0;
  REQUIRE(::read(ready[0], &byte, 1) == 1);
  OpenOptions hasty;
  hasty.busy_timeout_ms = 50;
  tune::SessionRecord session = test::heron_session();
  session.name = "renamed";
  Logbook logbook(file, hasty);
  const std::string line = complaint([&] { logbook.record(session, test::heron_judgement()); });
  CHECK(says(line, "logbook.sqlite: another program is using this logbook"));
  CHECK(says(line, "0.05 s"));
  // Reading goes on beside the writer.
  OpenOptions reading = hasty;
  reading.access = Access::read;
  CHECK(logbook::setups(Logbook(file, reading), {}).size() == 2);
  REQUIRE(::write(finish[1], &byte, 1) == 1);
  int status = 0;
  ::waitpid(child, &status, 0);
  for (const int fd : {ready[0], ready[1], finish[0], finish[1]}) {
    ::close(fd);
  }
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file, "SELECT name FROM sessions") == "renamed\n");
}

TEST_CASE("fault: a file or a folder that may not be written to") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook(file).record(test::heron_session(), test::heron_judgement());
  const std::string bytes = test::content(file);
  REQUIRE(::chmod(folder.path().c_str(), 0555) == 0);
  REQUIRE(::chmod(file.c_str(), 0444) == 0);
  {
    const WithoutRights for_a_while;
    const std::string line = complaint([&] {
      Logbook logbook(file);
      logbook.record(numbered_session(2), test::heron_judgement());
    });
    CHECK(says(line, "logbook.sqlite: the logbook cannot be opened for writing"));
    CHECK(says(line, "check the rights"));
    CHECK(says(complaint([&] { Logbook logbook(folder / "new.sqlite"); }),
               "new.sqlite: the logbook cannot be opened for writing"));
    CHECK(says(complaint([&] { Logbook logbook(folder / "new" / "logbook.sqlite"); }),
               "the folder of the logbook cannot be made"));
    // What is there can be read all the same.
    OpenOptions reading;
    reading.access = Access::read;
    CHECK(logbook::setups(Logbook(file, reading), {}).size() == 2);
  }
  REQUIRE(::chmod(folder.path().c_str(), 0755) == 0);
  CHECK(test::content(file) == bytes);
}

TEST_CASE("fault: no room left: a clear line, and what was recorded before is there") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  std::string line;
  int recorded = 0;
  {
    OpenOptions options;
    options.max_pages = 40;
    Logbook logbook(file, options);
    while (line.empty() && recorded < 1000) {
      line = complaint([&] {
        logbook.record(numbered_session(recorded), test::heron_judgement());
        ++recorded;
      });
    }
  }
  CHECK(says(line, "logbook.sqlite: no room left"));
  CHECK(recorded > 0);
  CHECK(ask(file, "SELECT count(*) FROM sessions") == fmt::format("{}\n", recorded));
  test::check_integrity(file);
  Logbook(file).record(numbered_session(recorded), test::heron_judgement());  // room again
  CHECK(ask(file, "SELECT count(*) FROM sessions") == fmt::format("{}\n", recorded + 1));
}

TEST_CASE("fault: the system refuses to let the file grow: a clear line, nothing lost") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  { Logbook made(file); }
  const bool clear = in_child([&] {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{256 * 1024, 256 * 1024};
    if (::setrlimit(RLIMIT_FSIZE, &limit) != 0) {
      return false;
    }
    Logbook logbook(file);
    try {
      for (int i = 0; i < 1000; ++i) {
        logbook.record(numbered_session(i), test::heron_judgement());
      }
    } catch (const BadInput& fault) {
      return says(fault.what(), "logbook.sqlite: ") && says(fault.what(), "space");
    }
    return false;
  });
  CHECK(clear);
  test::check_integrity(file);
  const int before = std::stoi(ask(file, "SELECT count(*) FROM sessions"));
  CHECK(before > 0);
  CHECK(ask(file, "SELECT count(*) FROM clips") == fmt::format("{}\n", 4 * before));
  Logbook(file).record(numbered_session(1000), test::heron_judgement());
  CHECK(ask(file, "SELECT count(*) FROM sessions") == fmt::format("{}\n", before + 1));
}

TEST_CASE("fault: notes that say nothing or at no date") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  CHECK(says(complaint([&] { logbook.add_note({"", " \t", ""}); }), "no text"));
  for (const char* at : {"yesterday", "2026-02-30", "2026-13-01", "2026-1-1", "2026-01-01T25:00"}) {
    CHECK(says(complaint([&] { logbook.add_note({at, "x", ""}); }), at));
  }
  CHECK(logbook::notes(logbook, {}).empty());
  logbook.add_note({"2024-02-29", "leap day", ""});
  CHECK(logbook::notes(logbook, {}).size() == 1);
}
