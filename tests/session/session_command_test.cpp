// `nocktrail session` as scripts meet it: exit status, streams, files (docs/session.md).
#include <doctest/doctest.h>
#include <sys/stat.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "program.hpp"

using namespace nocktrail::session::test;

namespace {

struct Ran {
  int status = -1;
  std::string out;
  std::string err;
};

Ran session(const Folder& scratch, std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), "session");
  Program program(scratch, "session", std::move(arguments));
  const int status = program.wait();
  return {status, program.out(), program.err()};
}

long lines(const std::string& text) {
  return std::count(text.begin(), text.end(), '\n');
}

}  // namespace

TEST_CASE("unit: help and the template") {
  const Folder scratch;
  const Ran help = session(scratch, {"--help"});
  CHECK(help.status == 0);
  CHECK(says(help.out, "Exit status"));
  const Ran printed = session(scratch, {"--template"});
  CHECK(printed.status == 0);
  CHECK(says(printed.out, "nocking_point"));
  // As printed it is a session's file without fault.
  const Folder folder;
  folder.write("session.toml", printed.out);
  CHECK(session(scratch, {folder.path().string()}).status == 3);
}

TEST_CASE("fault: what was filled in is never written over by a template") {
  const Folder scratch;
  const Folder folder;
  const std::string dir = (folder.path() / "spring").string();
  const Ran made = session(scratch, {"--template", dir});
  CHECK(made.status == 0);
  const auto file = folder.path() / "spring/session.toml";
  REQUIRE(std::filesystem::exists(file));
  std::ofstream(file) << "hand = \"left\"\n";
  const Ran again = session(scratch, {"--template", dir});
  CHECK(again.status == 2);
  CHECK(lines(again.err) == 1);
  CHECK(says(again.err, "is there already"));
  CHECK(std::filesystem::file_size(file) == 14);
}

TEST_CASE("fault: a wrong command line is 2 and one line") {
  const Folder scratch;
  const Folder folder;
  const std::string dir = folder.path().string();
  for (const std::vector<std::string>& arguments :
       std::vector<std::vector<std::string>>{{"/no/such/folder"},
                                             {dir, "--dead-band", "2"},
                                             {dir, "--json", ""},
                                             {dir, "--dead-band", "nan"},
                                             {dir, "--no-such-option"},
                                             {dir, "--json", "/no/such/folder/x.json"},
                                             {dir, "--logbook", "x.sqlite", "--no-logbook"}}) {
    CAPTURE(arguments.size());
    const Ran ran = session(scratch, arguments);
    CAPTURE(ran.err);
    CHECK(ran.status == 2);
    CHECK(ran.out.empty());
    CHECK(lines(ran.err) == 1);
  }
}

TEST_CASE("fault: faults of hand-written files are 2, one line each, and nothing is read") {
  const Folder scratch;
  const Folder folder;
  folder.write("session.toml", "[bow]\nbrace_hight = \"7in\"\n");
  folder.write("1-a/setup.toml", "cant = 95\n");
  folder.write("1-a/a.mp4", "no video");
  const Ran ran = session(scratch, {folder.path().string()});
  CHECK(ran.status == 2);
  CHECK(ran.out.empty());
  CHECK(lines(ran.err) == 3);
  CHECK(says(ran.err,
             "session.toml: line 2: bow.brace_hight is not a known field; did you mean "
             "bow.brace_height?"));
  CHECK(says(ran.err, "1-a/setup.toml: line 1: cant: 95 deg is not possible"));
  CHECK_FALSE(fs::exists(folder / "nocktrail-results"));
}

TEST_CASE("truth: a session of real clips, read once, with all its results") {
  const Folder scratch;
  const Folder folder;
  folder.write("session.toml", "# my own words\nhand = \"right\"\n");
  const std::string own = content(folder / "session.toml");
  fs::create_directories(folder / "1-start");
  fs::copy_file(test_clip("upside-down.mp4"), folder / "1-start/a.mp4");
  folder.write("2-lower/setup.toml", "[bow]\nnocking_point = \"1/2in\"\n");
  fs::copy_file(test_clip("stored-mirrored.mp4"), folder / "2-lower/b.mp4");
  fs::copy_file(test_clip("stored-mirrored.mp4"), folder / "2-lower/b copy.mp4");
  const std::string dir = folder.path().string();

  const Ran ran = session(scratch, {dir});
  CAPTURE(ran.err);
  CHECK(ran.status == 0);
  CHECK(says(ran.out, "1-start"));
  CHECK(says(ran.err, "1-start/a.mp4: nock left"));
  CHECK(says(ran.err, "2-lower/b.mp4: has the same content as 2-lower/b copy.mp4"));
  const fs::path results = folder / "nocktrail-results";
  const auto j = nlohmann::json::parse(content(results / "session.json"));
  CHECK(j["setups"][1]["clips"].size() == 1);
  CHECK(says(content(results / "report.html"), "2-lower"));
  CHECK(fs::exists(folder.path() / j["setups"][0]["clips"][0]["still"].get<std::string>()));
  CHECK(content(folder / "session.toml") == own);
  CHECK(fs::exists(scratch / "data/nocktrail/logbook.sqlite"));

  const Ran again = session(scratch, {dir, "--no-logbook", "--json", "-"});
  CHECK(again.status == 0);
  CHECK_FALSE(says(again.err, "nock left"));  // nothing fresh
  CHECK(nlohmann::json::parse(again.out)["setups"].size() == 2);

  // An unreadable file is 4, and the readings stay.
  folder.write("2-lower/broken.mp4", "no video");
  const Ran broken = session(scratch, {dir, "--no-logbook", "--quiet"});
  CHECK(broken.status == 4);
  CHECK(says(broken.err, "2-lower/broken.mp4: cannot be read"));
  const Ran still_broken = session(scratch, {dir, "--no-logbook", "--quiet"});
  CHECK(still_broken.status == 4);
  CHECK(says(still_broken.err, "2-lower/broken.mp4: cannot be read"));
  CHECK(says(broken.out, "1-start"));
}

TEST_CASE("fault: nothing measured is 3") {
  const Folder scratch;
  const Folder folder;
  fs::copy_file(test_clip("let-down.mp4"), folder / "a.mp4");
  const Ran ran = session(scratch, {folder.path().string(), "--no-logbook", "--no-stills"});
  CHECK(ran.status == 3);
  CHECK_FALSE(says(ran.err, "fault"));
}

TEST_CASE("fault: Ctrl-C is 130, and the next run goes on") {
  const Folder scratch;
  const Folder folder;
  for (const char* name : {"upside-down.mp4", "stored-mirrored.mp4", "portrait-bare-canted.mp4",
                           "landscape-bare-120fps.mp4", "hevc-gravel.mp4"}) {
    fs::copy_file(test_clip(name), folder / name);
  }
  const std::string dir = folder.path().string();
  {
    Program program(scratch, "first", {"session", dir, "--no-logbook", "--no-stills"});
    REQUIRE(eventually([&] { return says(program.err(), "nock "); }));
    program.signal(SIGINT);
    CHECK(program.wait() == 130);
    CHECK(says(program.err(), "left for the next run"));
    CHECK(program.out().empty());
  }
  CHECK_FALSE(fs::exists(folder / "nocktrail-results/session.json"));
  const Ran rest = session(scratch, {dir, "--no-logbook", "--no-stills"});
  CHECK(rest.status == 0);
  const auto j = nlohmann::json::parse(content(folder / "nocktrail-results/session.json"));
  CHECK(j["setups"][0]["clips"].size() == 5);
}

TEST_CASE("fault: a folder that cannot be written is 2 and a line; --results helps") {
  const Folder scratch;
  const Folder folder;
  folder.write("a.mp4", "no video");
  const fs::path readable = folder.path();
  ::chmod(readable.c_str(), 0555);
  // root writes anywhere; as somebody else it is what an archer meets.
  const auto as_nobody = [&](const std::string& more) {
    const std::string command =
        "setpriv --reuid 65534 --regid 65534 --clear-groups '" NOCKTRAIL_PROGRAM "' session '" +
        readable.string() + "' --no-logbook " + more + " >'" + (scratch / "out").string() +
        "' 2>'" + (scratch / "err").string() + "'";
    return WEXITSTATUS(std::system(command.c_str()));
  };
  ::chmod(scratch.path().c_str(), 0777);
  const bool root = ::geteuid() == 0;
  const int status =
      root ? as_nobody("") : session(scratch, {readable.string(), "--no-logbook"}).status;
  if (root && (status == 126 || status == 127)) {
    MESSAGE("cannot run the program as another user here");
    return;
  }
  CHECK(status == 2);
  const std::string said = content(scratch / (root ? "err" : "session.err"));
  CHECK(lines(said) == 1);
  CHECK(says(said, "nocktrail-results"));
  CHECK(says(said, "--results DIR"));
  if (root) {
    CHECK(as_nobody("--results '" + (scratch / "elsewhere").string() + "'") == 4);
    CHECK(fs::exists(scratch / "elsewhere/session.json"));
  }
  ::chmod(readable.c_str(), 0755);
}

TEST_CASE("fault: a full disk is one clear line and 1; with room again the next run goes on") {
  const Folder scratch;
  const Folder folder;
  fs::copy_file(test_clip("upside-down.mp4"), folder / "a.mp4");
  fs::create_directory(scratch / "disk");
  // A disk of our own, 100 kB small: enough for the readings, not for a still.
  scratch.write("run.sh", "cd '" + scratch.path().string() +
                              "'\nmount -t tmpfs -o size=100k none disk || exit 99\n"
                              "session() { '" NOCKTRAIL_PROGRAM "' session '" +
                              folder.path().string() +
                              "' --no-logbook --results disk >$1.out 2>$1.err; echo $?; }\n"
                              "session full >status\n"
                              "cp disk/readings/*.json .\n"
                              "ls disk >left\n"
                              "mount -o remount,size=100m disk\n"
                              "session room >>status\n"
                              "cp disk/session.json .\n");
  const int raw =
      std::system(("unshare -m bash '" + (scratch / "run.sh").string() + "' 2>/dev/null").c_str());
  if (raw != 0) {
    MESSAGE("cannot mount a small disk here");
    return;
  }
  CHECK(content(scratch / "status") == "1\n0\n");
  const std::string full = content(scratch / "full.err");
  CHECK(says(full, "No space left on device"));
  CHECK_FALSE(says(full, "fault"));
  CHECK(says(full, "nothing was judged, written or recorded"));
  CHECK(content(scratch / "full.out").empty());
  CHECK(content(scratch / "left").find("session.json") == std::string::npos);
  CHECK_FALSE(says(content(scratch / "room.err"), "nock left"));  // and was not read again
  CHECK(says(content(scratch / "session.json"), "a.mp4"));
}
