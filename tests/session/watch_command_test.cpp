// `nocktrail watch` on a folder that really changes. Every wait is for a condition; its limit only
// bounds a failure.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "program.hpp"

using namespace nocktrail::session::test;

namespace {

constexpr const char* kStarted = "nocktrail-results/session.json";

std::size_t count(const std::string& text, const std::string& words) {
  std::size_t n = 0;
  for (std::size_t at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) {
    ++n;
  }
  return n;
}

std::vector<std::string> arguments(const Folder& folder, bool poll) {
  std::vector<std::string> all = {
      "watch", folder.path().string(), "--no-logbook", "--no-stills", "--settle", "1"};
  if (poll) {
    all.emplace_back("--poll");
  }
  return all;
}

nlohmann::json session_json(const Folder& folder) {
  return nlohmann::json::parse(content(folder / kStarted));
}

void live_through_a_day(bool poll) {
  const Folder scratch;
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("1-start/setup.toml", "");
  Program watch(scratch, "watch", arguments(folder, poll));
  REQUIRE(eventually([&] { return fs::exists(folder / kStarted); }));

  // A slow copy: half of it is there and nothing is read.
  const std::string clip = content(test_clip("upside-down.mp4"));
  {
    std::ofstream copy(folder / "1-start/a.mp4", std::ios::binary);
    copy << clip.substr(0, clip.size() / 2);
    copy.flush();
    REQUIRE(eventually([&] { return says(watch.err(), "a.mp4: arriving"); }));
    CHECK_FALSE(says(watch.out(), "a.mp4"));
    copy << clip.substr(clip.size() / 2);
  }
  REQUIRE(eventually([&] { return says(watch.out(), "1-start/a.mp4: nock left"); }));
  CHECK(count(watch.out(), "1-start/a.mp4: nock") == 1);

  fs::rename(folder / "1-start/a.mp4", folder / "1-start/b.mp4");
  REQUIRE(
      eventually([&] { return says(watch.out(), "1-start/b.mp4: read before as 1-start/a.mp4"); }));

  // Replaced under the same name, as a phone's sync does: beside it, then moved over it.
  fs::copy_file(test_clip("stored-mirrored.mp4"), folder / "1-start/.b.mp4.part");
  fs::rename(folder / "1-start/.b.mp4.part", folder / "1-start/b.mp4");
  REQUIRE(eventually([&] { return says(watch.out(), "1-start/b.mp4: nock"); }));
  REQUIRE(eventually([&] { return says(watch.out(), "1-start/b.mp4: replaced"); }));

  // A slip in the hand-written file is said, and mended; the hand only judges anew.
  folder.write("session.toml", "hnad = \"left\"\n");
  REQUIRE(eventually([&] { return says(watch.err(), "did you mean hand?"); }));
  folder.write("session.toml", "hand = \"left\"\n[clip.\"b.mp4\"]\ndrop = \"plucked\"\n");
  REQUIRE(eventually(
      [&] { return session_json(folder)["setups"][0]["clips"][0]["dropped"] == "plucked"; }));
  CHECK(count(watch.out(), "1-start/b.mp4: nock") == 1);

  // A new set-up, and a file that is no video.
  fs::create_directory(folder / "2-lower");
  folder.write("2-lower/junk.mp4", "no video\n");
  REQUIRE(eventually([&] { return says(watch.out(), "2-lower/junk.mp4: cannot be read"); }));

  fs::remove(folder / "1-start/b.mp4");
  REQUIRE(eventually([&] { return says(watch.out(), "1-start/b.mp4: no longer in the folder"); }));

  watch.signal(SIGINT);
  CHECK(watch.wait() == 0);
  CHECK(says(watch.err(), "stopped watching"));
}

}  // namespace

TEST_CASE("truth: a folder watched by notification lives through a day at the range") {
  live_through_a_day(false);
}

TEST_CASE("truth: a folder watched by polling does as well") {
  live_through_a_day(true);
}

TEST_CASE("fault: killed in the middle of a reading, started again, it reads what is left") {
  const Folder scratch;
  const Folder folder;
  fs::copy_file(test_clip("upside-down.mp4"), folder / "a.mp4");
  fs::copy_file(test_clip("stored-mirrored.mp4"), folder / "b.mp4");
  fs::copy_file(test_clip("portrait-bare-canted.mp4"), folder / "c.mp4");
  std::string before;
  {
    Program watch(scratch, "first", arguments(folder, false));
    REQUIRE(eventually([&] { return says(watch.out(), ".mp4: "); }));
    watch.signal(SIGKILL);
    CHECK(watch.wait() == 1000 + SIGKILL);
    before = watch.out();
  }
  {
    Program watch(scratch, "second", arguments(folder, false));
    REQUIRE(eventually([&] {
      return fs::exists(folder / kStarted) &&
             session_json(folder)["setups"][0]["clips"].size() == 3;
    }));
    watch.signal(SIGTERM);
    CHECK(watch.wait() == 0);
    const std::string both = before + watch.out();
    for (const char* name : {"a.mp4: ", "b.mp4: ", "c.mp4: "}) {
      CAPTURE(name);
      CHECK(count(both, name) == 1);  // each said once, whichever run read it
    }
  }
}

TEST_CASE("fault: the folder goes away and comes back; a wrong command line is 2") {
  const Folder scratch;
  const Folder outer;
  outer.write("s/junk.mp4", "no video\n");
  Program watch(scratch, "watch",
                {"watch", (outer / "s").string(), "--no-logbook", "--settle", "0.5"});
  REQUIRE(eventually([&] { return says(watch.out(), "junk.mp4: cannot be read"); }));
  fs::rename(outer / "s", outer / "t");
  REQUIRE(eventually([&] { return says(watch.err(), "waiting for it"); }));
  fs::rename(outer / "t", outer / "s");
  outer.write("s/more.mp4", "no video either\n");
  REQUIRE(eventually([&] { return says(watch.out(), "more.mp4: cannot be read"); }));
  watch.signal(SIGINT);
  CHECK(watch.wait() == 0);

  for (const std::vector<std::string>& wrong :
       std::vector<std::vector<std::string>>{{"watch"},
                                             {"watch", "/no/such/folder"},
                                             {"watch", outer.path().string(), "--settle", "0"}}) {
    Program program(scratch, "wrong", wrong);
    CHECK(program.wait() == 2);
    CHECK(count(program.err(), "\n") == 1);
    CHECK(program.out().empty());
  }
}
