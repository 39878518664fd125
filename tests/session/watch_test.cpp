// When a copy has finished, and when a folder has something new to read.
#include "nocktrail/session/watch.hpp"

#include <doctest/doctest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <string>
#include <thread>

#include "nocktrail/error.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;
using namespace std::chrono_literals;

namespace {

// A folder looked at along a clock of our own.
struct Look {
  explicit Look(const Folder& in) : folder(in) {}

  bool operator()(std::chrono::milliseconds after, const std::set<fs::path>& closed = {}) {
    now += after;
    // File times are real, so "long ago" must not depend on how fast the test runs.
    return arrivals.look(folder.path(), closed, now, wall);
  }

  const Folder& folder;
  Arrivals arrivals{ArrivalOptions{2000ms, 60s}};
  Arrivals::Clock::time_point now{};
  std::chrono::system_clock::time_point wall = std::chrono::system_clock::now();
};

std::string real_clip() {
  return content(fs::path(NOCKTRAIL_TEST_CLIPS) / "upside-down.mp4");
}

bool within(std::chrono::seconds limit, const std::function<bool()>& condition) {
  const auto end = std::chrono::steady_clock::now() + limit;
  while (std::chrono::steady_clock::now() < end) {
    if (condition()) {
      return true;
    }
  }
  return condition();
}

}  // namespace

TEST_CASE("unit: a clip is read when it has stayed unchanged for the time to settle") {
  const Folder folder;
  Look look(folder);
  CHECK(look(0ms));  // the first look always
  folder.write("a.mp4", "-1.0");
  CHECK_FALSE(look(100ms));
  CHECK(look.arrivals.waiting().size() == 1);
  CHECK_FALSE(look.arrivals.settled(folder / "a.mp4"));
  folder.write("a.mp4", "-1.0, more");
  CHECK_FALSE(look(1900ms));
  CHECK_FALSE(look(1900ms));  // counted from the last change
  CHECK(look(200ms));
  CHECK(look.arrivals.settled(folder / "a.mp4"));
  CHECK(look.arrivals.waiting().empty());
  CHECK_FALSE(look(10s));
}

TEST_CASE("unit: a writer seen to close the file settles it at once") {
  const Folder folder;
  Look look(folder);
  look(0ms);
  folder.write("a.mp4", "-1.0");
  CHECK(look(1ms, {folder / "a.mp4"}));
  CHECK(look.arrivals.settled(folder / "a.mp4"));
}

TEST_CASE("unit: after a restart old files are settled and new ones are not") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  Look later(folder);
  later.wall += 1h;
  CHECK(later(0ms));
  CHECK(later.arrivals.settled(folder / "a.mp4"));
  Look at_once(folder);
  CHECK(at_once(0ms));
  CHECK_FALSE(at_once.arrivals.settled(folder / "a.mp4"));
}

TEST_CASE("unit: renamed, removed, replaced clips and edited files are each one reading") {
  const Folder folder;
  folder.write("1-a/a.mp4", "-1.0");
  folder.write("1-a/b.mp4", "-2.0");
  Look look(folder);
  look.wall += 1h;
  CHECK(look(0ms));
  CHECK_FALSE(look(1s));
  fs::rename(folder / "1-a/a.mp4", folder / "1-a/c.mp4");
  CHECK(look(1s));
  CHECK_FALSE(look(1s));
  fs::remove(folder / "1-a/b.mp4");
  CHECK(look(1s));
  folder.write("session.toml", "hand = \"left\"\n");
  CHECK(look(1s));
  folder.write("1-a/setup.toml", "cant = 3\n");
  CHECK(look(1s));
  CHECK_FALSE(look(1s));
  folder.write("1-a/setup.toml", "cnat = 3\n");  // a fault is said by the reading
  CHECK(look(1s));
  folder.write("2-b/setup.toml", "cant = 4\n");
  CHECK(look(1s));
  folder.write("stray.mp4", "-3.0");
  CHECK(look(1s));
  folder.write("nocktrail-results/session.json", "{}");
  folder.write("notes.txt", "soft butt");
  CHECK_FALSE(look(1s));
}

TEST_CASE("unit: a renamed clip is settled under its new name at once") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  Look look(folder);
  look(0ms);
  look(3s);
  REQUIRE(look.arrivals.settled(folder / "a.mp4"));
  fs::rename(folder / "a.mp4", folder / "b.mp4");  // which moves its change time to now
  CHECK(look(1ms));
  CHECK(look.arrivals.settled(folder / "b.mp4"));
}

TEST_CASE("unit: while a clip is being replaced the session stands as it was") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  Look look(folder);
  look.wall += 1h;
  look(0ms);
  look.wall = std::chrono::system_clock::now();
  folder.write("a.mp4", "-2.00");
  CHECK_FALSE(look(100ms));
  CHECK_FALSE(look.arrivals.settled(folder / "a.mp4"));
  CHECK(look(3s));
}

TEST_CASE("fault: a half-copied clip waits, however it was cut, and in the end is read as it is") {
  const std::string whole = real_clip();
  const Folder folder;
  folder.write("whole.mp4", whole);
  CHECK(looks_whole(folder / "whole.mp4"));
  for (const std::size_t length : {std::size_t{0}, std::size_t{5}, std::size_t{20},
                                   whole.size() / 10, whole.size() / 2, whole.size() - 1}) {
    CAPTURE(length);
    folder.write("half.mp4", whole.substr(0, length));
    // Five bytes are not yet a box: nothing tells what they will be.
    CHECK(looks_whole(folder / "half.mp4") == (length == 5));
  }
  Look look(folder);
  look.wall += 1h;
  look(0ms);
  CHECK_FALSE(look(1s, {folder / "half.mp4"}));  // closed, but the copy was broken off
  CHECK(look.arrivals.settled(folder / "whole.mp4"));
  CHECK_FALSE(look(30s));
  CHECK(look(31s));  // patience at its end: reading says what is wrong
  folder.write("half.mp4", whole);
  CHECK(look(1s, {folder / "half.mp4"}));
}

TEST_CASE("unit: files of other families are let through as they are") {
  const Folder folder;
  folder.write("text.mp4", "this is no video\n");
  folder.write("other.mkv", "\x1a\x45\xdf\xa3 and so on");
  CHECK(looks_whole(folder / "text.mp4"));
  CHECK(looks_whole(folder / "other.mkv"));
  CHECK(looks_whole(folder / "missing.mp4"));
  // A box shorter than its own head: damaged, not half there.
  folder.write("damaged.mp4", std::string("\0\0\0\x10"
                                          "ftyp12345678\0\0\0\x03"
                                          "mdat",
                                          24));
  CHECK(looks_whole(folder / "damaged.mp4"));
}

TEST_CASE("fault: a folder that goes away is a complaint, and comes back") {
  const Folder outer;
  outer.write("s/a.mp4", "-1.0");
  Arrivals arrivals(ArrivalOptions{});
  const auto look = [&] {
    return arrivals.look(outer / "s", {}, Arrivals::Clock::now(),
                         std::chrono::system_clock::now() + 1h);
  };
  CHECK(look());
  fs::rename(outer / "s", outer / "t");
  CHECK_THROWS_AS(look(), BadInput);
  fs::rename(outer / "t", outer / "s");
  CHECK_FALSE(look());
}

TEST_CASE("unit: notifications name closed and moved files, in new folders too") {
  const Folder folder;
  FolderWatch watch;
  if (!watch.notified()) {
    MESSAGE("no inotify here");
    return;
  }
  watch.cover(folder.path());
  folder.write("a.mp4", "-1.0");
  std::set<fs::path> seen;
  const auto sees = [&](const std::string& name) {
    return within(10s, [&] {
      watch.cover(folder.path());
      watch.wait(50ms);
      seen.merge(watch.take_closed());
      return seen.count(fs::canonical(folder.path()) / name) > 0;
    });
  };
  CHECK(sees("a.mp4"));
  fs::rename(folder / "a.mp4", folder / "b.mp4");
  CHECK(sees("b.mp4"));
  fs::create_directory(folder / "1-a");
  watch.cover(folder.path());
  folder.write("1-a/c.mp4", "-2.0");
  CHECK(sees("1-a/c.mp4"));
  fs::remove_all(folder / "1-a");
  fs::create_directory(folder / "1-a");
  watch.cover(folder.path());
  folder.write("1-a/d.mp4", "-2.0");
  CHECK(sees("1-a/d.mp4"));
}

TEST_CASE("unit: without notifications waiting is just waiting") {
  FolderWatch watch(true);
  CHECK_FALSE(watch.notified());
  const Folder folder;
  watch.cover(folder.path());
  watch.wait(1ms);
  CHECK(watch.take_closed().empty());
}
