// A folder may come from somebody else: nothing in it leads the program's hand elsewhere, and no
// nonsense among the results blocks it.
#include <doctest/doctest.h>
#include <sys/stat.h>

#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

// What `session` publishes, by name.
SessionRead publish(const Folder& folder, FakeReader& reader) {
  return read_session(folder / "s", fakes(reader), {},
                      [](const SessionRead&, const report::OwnFolder& results) {
                        report::OwnFolder::Publication files(results);
                        files.add("session.json", "{}");
                        files.add("report.html", "<html>");
                        files.commit();
                        return true;
                      });
}

}  // namespace

TEST_CASE("fault: results are never written through links, nor read") {
  const Folder folder;
  folder.write("s/a.mp4", "-1.0");
  folder.write("diary", "mine");
  folder.write("elsewhere/kept.txt", "mine too");
  const fs::path results = folder / "s/nocktrail-results";
  fs::create_directories(results);
  for (const char* name : {"report.html", "session.json", "files.json", "lock"}) {
    fs::create_symlink("../../diary", results / name);
  }
  fs::create_symlink("../../elsewhere", results / "readings");
  fs::create_symlink("../../elsewhere", results / "stills");
  FakeReader reader;
  const SessionRead read = publish(folder, reader);
  CHECK_FALSE(read.halted);
  CHECK(content(folder / "diary") == "mine");
  std::size_t entries = 0;
  for (const auto& entry : fs::directory_iterator(folder / "elsewhere")) {
    CHECK(entry.path().filename() == "kept.txt");
    ++entries;
  }
  CHECK(entries == 1);
  CHECK(content(results / "report.html") == "<html>");
  CHECK_FALSE(fs::is_symlink(results / "report.html"));
  CHECK_FALSE(fs::is_symlink(results / "readings"));
  CHECK(any_says(read.messages, "readings: is no folder of ours; set aside"));
  // A reading or a still that is a link is no reading and no still of ours.
  for (const char* kind : {"readings", "stills"}) {
    for (const auto& entry : fs::directory_iterator(results / kind)) {
      fs::copy_file(entry.path(), folder / "elsewhere" / entry.path().filename());
      const fs::path name = entry.path();
      fs::remove(name);
      fs::create_symlink(folder / "elsewhere" / name.filename(), name);
    }
  }
  CHECK(publish(folder, reader).fresh == 1);
  for (const char* kind : {"readings", "stills"}) {
    for (const auto& entry : fs::directory_iterator(results / kind)) {
      CHECK_FALSE(entry.is_symlink());
    }
  }
}

TEST_CASE("fault: a folder of results that is a link itself is refused; one that is named is not") {
  const Folder folder;
  folder.write("s/a.mp4", "-1.0");
  fs::create_directory(folder / "elsewhere");
  fs::create_directory_symlink("../elsewhere", folder / "s/nocktrail-results");
  FakeReader reader;
  try {
    publish(folder, reader);
    FAIL("no complaint");
  } catch (const BadInput& problem) {
    CHECK(says(problem.what(), "nocktrail-results"));
    CHECK(says(problem.what(), "is a link"));
    CHECK(says(problem.what(), "--results DIR"));
  }
  CHECK(fs::is_empty(folder / "elsewhere"));
  ReadSessionOptions named = fakes(reader);
  named.results = folder / "s/nocktrail-results";
  CHECK(read_session(folder / "s", named).fresh == 1);
  CHECK(fs::exists(folder / "elsewhere/readings"));
}

TEST_CASE("fault: no nonsense among the results blocks the folder") {
  const Folder folder;
  folder.write("s/a.mp4", "-1.0");
  FakeReader reader;
  publish(folder, reader);
  const fs::path results = folder / "s/nocktrail-results";
  int n = 0;
  for (const char* nonsense :
       {"{\"schema\":5}", "[]", "7", "{\"schema\":\"nocktrail.session-files/1\"}",
        "{\"schema\":\"nocktrail.session-files/1\",\"files\":{\"a\":5,\"b\":{\"stamp\":1}}}",
        "{\"schema\":{\"schema\":[[[]]]}}", "\xFF\xFE", ""}) {
    CAPTURE(nonsense);
    folder.write("s/nocktrail-results/files.json", nonsense);
    const SessionRead read = publish(folder, reader);
    CHECK_FALSE(read.halted);
    CHECK(read.kept == 1);
    CHECK(any_says(read.messages, "files.json: is not what nocktrail keeps there; set aside") ==
          (n++ != 4));
    CHECK(publish(folder, reader).messages.empty());
  }
  // Folders and pipes where files belong, files where folders do.
  fs::remove(results / "files.json");
  fs::create_directories(results / "files.json/x");
  fs::remove(results / "lock");
  fs::create_directories(results / "lock/x");
  fs::remove(results / "report.html");
  fs::create_directories(results / "report.html/x");
  for (const auto& entry : fs::directory_iterator(results / "readings")) {
    const fs::path name = entry.path();
    fs::remove(name);
    REQUIRE(::mkfifo(name.c_str(), 0600) == 0);
  }
  fs::remove_all(results / "stills");
  folder.write("s/nocktrail-results/stills", "a file");
  const SessionRead read = publish(folder, reader);
  CHECK_FALSE(read.halted);
  CHECK(read.fresh == 1);
  CHECK(publish(folder, reader).kept == 1);
  CHECK(content(results / "report.html") == "<html>");
  CHECK(fs::exists(results / "report.html.set-aside/x"));
}
