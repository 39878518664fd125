#include "nocktrail/report/atomic_file.hpp"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "scratch_folder.hpp"

using namespace nocktrail;
using namespace nocktrail::report;
namespace fs = std::filesystem;

namespace {

using nocktrail::scratch::Folder;

std::string content(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

TEST_CASE("unit: a file is written, replaced, and leaves nothing beside it") {
  const Folder folder;
  const fs::path file = folder / "out.json";
  write_file_whole(file, "one");
  CHECK(content(file) == "one");
  write_file_whole(file, std::string(1 << 20, 'x'));
  CHECK(fs::file_size(file) == (1U << 20U));
  CHECK(folder.entries() == 1);
}

TEST_CASE("unit: permissions of a file that exists stay") {
  const Folder folder;
  const fs::path file = folder / "out.json";
  write_file_whole(file, "one");
  REQUIRE(::chmod(file.c_str(), 0640) == 0);
  write_file_whole(file, "two");
  CHECK((static_cast<unsigned>(fs::status(file).permissions()) & 0777U) == 0640U);
}

TEST_CASE("unit: a link keeps pointing where it did") {
  const Folder folder;
  write_file_whole(folder / "real", "one");
  fs::create_symlink("real", folder / "link");
  write_file_whole(folder / "link", "two");
  CHECK(fs::is_symlink(folder / "link"));
  CHECK(content(folder / "real") == "two");
}

TEST_CASE("unit: a device is written straight and stays a device") {
  write_file_whole("/dev/null", "gone");
  CHECK(fs::is_character_file("/dev/null"));
}

TEST_CASE("fault: what cannot be written is named in one line and leaves nothing") {
  const Folder folder;
  for (const fs::path& path : {folder / "missing/out.json", folder / ""}) {
    CAPTURE(path);
    CHECK_THROWS_AS(write_file_whole(path, "x"), BadInput);
    CHECK_THROWS_AS(check_writable(path), BadInput);
  }
  CHECK(folder.entries() == 0);
  CHECK_NOTHROW(check_writable(folder / "new.json"));
  CHECK(folder.entries() == 0);
}

TEST_CASE("fault: a device that refuses bytes is reported") {
  // /dev/full refuses every byte (Linux full(4)).
  CHECK_THROWS_AS(write_file_whole("/dev/full", "x"), BadInput);
}

TEST_CASE("fault: what a killed run left half-written in its own folder is cleared by the next") {
  const Folder folder;
  const pid_t dead = ::fork();
  if (dead == 0) {
    ::_exit(0);
  }
  ::waitpid(dead, nullptr, 0);
  const OwnFolder own = OwnFolder::open(folder / "results", true);
  for (const char* name : {"report.html", "session.json"}) {
    std::ofstream(own.path() / fmt::format(".{}.{}.part", name, dead)) << "half";
  }
  own.write_whole("report.html", "whole");
  OwnFolder::Publication publication(own);
  publication.add("session.json", "{}");
  publication.commit();
  std::vector<std::string> names = own.names();
  std::erase_if(names, [](const std::string& name) { return name == "." || name == ".."; });
  std::sort(names.begin(), names.end());
  CHECK(names == std::vector<std::string>{"report.html", "session.json"});
}

TEST_CASE("fault: a killed process that nobody has asked how it ended holds nothing") {
  const Folder folder;
  const pid_t dead = ::fork();
  if (dead == 0) {
    ::_exit(0);
  }
  // It has ended and is kept as a zombie: WNOWAIT looks without taking it away.
  siginfo_t ended{};
  REQUIRE(::waitid(P_PID, static_cast<id_t>(dead), &ended, WEXITED | WNOWAIT) == 0);
  const OwnFolder own = OwnFolder::open(folder / "results", true);
  std::ofstream(own.path() / fmt::format(".report.html.{}.part", dead)) << "half";
  own.write_whole("report.html", "whole");
  std::vector<std::string> names = own.names();
  std::erase_if(names, [](const std::string& name) { return name == "." || name == ".."; });
  CHECK(names == std::vector<std::string>{"report.html"});
  ::waitpid(dead, nullptr, 0);
}
