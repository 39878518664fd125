// What is judged and published of a session, and when: all of it, while its folder is held, or
// nothing.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include <csignal>
#include <future>
#include <new>
#include <string>
#include <thread>

#include "nocktrail/error.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

// Files that cannot grow past so many bytes stand for a full disk: write() fails part of the way.
class FullDisk {
 public:
  FullDisk() : old_action_(std::signal(SIGXFSZ, SIG_IGN)) { ::getrlimit(RLIMIT_FSIZE, &old_); }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;
  ~FullDisk() {
    ::setrlimit(RLIMIT_FSIZE, &old_);
    std::signal(SIGXFSZ, old_action_);
  }
  void begin(rlim_t bytes) const {
    const rlimit full{bytes, old_.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &full);
  }

 private:
  void (*old_action_)(int);
  rlimit old_{};
};

std::size_t stills_in(const Folder& folder) {
  std::size_t count = 0;
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/stills")) {
    count += entry.path().extension() == ".png" ? 1U : 0U;
  }
  return count;
}

}  // namespace

TEST_CASE("fault: a full disk, a stop or faults in what was written: nothing is to be published") {
  const Folder folder;
  for (int i = 0; i < 8; ++i) {
    folder.write(fmt::format("{}.mp4", i), fmt::format("-{}.0", i));
  }
  int published = 0;
  const WhileHeld held = [&](const SessionRead&, const report::OwnFolder&) {
    ++published;
    return true;
  };
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  SessionEvents events;
  {
    const FullDisk disk;
    options.read = [&](const fs::path& path, const ReadClipOptions& how, const Progress& progress) {
      if (reader.calls() == 3) {
        disk.begin(100);
      }
      return reader.function()(path, how, progress);
    };
    const SessionRead full = read_session(folder.path(), options, events, held);
    CHECK(full.halted);
    CHECK_FALSE(full.stopped);
    CHECK(published == 0);
  }
  {
    const FullDisk disk;
    disk.begin(10);  // before anything of the results is there
    const SessionRead full = read_session(folder.path(), fakes(reader), events, held);
    CHECK(full.halted);
    CHECK(full.unread == 8);
    CHECK(published == 0);
  }
  events.stop = [] { return true; };
  CHECK(read_session(folder.path(), fakes(reader), events, held).stopped);
  CHECK(published == 0);
  folder.write("session.toml", "hnad = 1\n");
  read_session(folder.path(), fakes(reader), {}, held);
  CHECK(published == 0);
  folder.write("session.toml", "hand = \"right\"\n");
  CHECK_FALSE(read_session(folder.path(), fakes(reader), {}, held).halted);
  CHECK(published == 1);
}

TEST_CASE("fault: whatever a clip throws is that clip's alone") {
  const Folder folder;
  const char* names[] = {"a.mp4", "b.mp4", "c.mp4", "d.mp4", "e.mp4"};
  for (const char* name : names) {
    folder.write(name, fmt::format("-1.{}", name[0] - 'a'));
  }
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  options.read = [&](const fs::path& path, const ReadClipOptions& how, const Progress& progress) {
    switch (path.filename().string()[0]) {
      case 'a':
        throw std::bad_alloc();
      case 'b':
        throw 7;
      case 'c':
        throw BadInput("cant: 95 deg is outside -90 to 90");
      default:
        return reader.function()(path, how, progress);
    }
  };
  options.draw = [](const Reading&, const StillRequest& request) -> std::string {
    if (request.clip.filename() == "d.mp4") {
      throw UnreadableClip("d.mp4: went away");
    }
    return "still";
  };
  bool published = false;
  const SessionRead read = read_session(folder.path(), options, {},
                                        [&](const SessionRead& all, const report::OwnFolder&) {
                                          published = all.record.setups[0].clips.size() == 5;
                                          return published;
                                        });
  CHECK_FALSE(read.halted);
  CHECK(read.failed);
  CHECK(published);
  for (const char* name : {"a.mp4", "b.mp4", "c.mp4"}) {
    CAPTURE(name);
    REQUIRE(clip_named(read.record, name) != nullptr);
    CHECK(clip_named(read.record, name)->reading.status == ClipStatus::error);
    CHECK(any_says(read.messages, fmt::format("{}: fault in the program itself", name)));
  }
  CHECK(clip_named(read.record, "d.mp4")->reading.status == ClipStatus::measured);
  CHECK(any_says(read.messages, "d.mp4: its still could not be drawn"));
  CHECK(clip_named(read.record, "e.mp4")->still.ends_with(".png"));
}

TEST_CASE("fault: a file's time beyond the calendar is no time, and stops nothing") {
  const Folder folder;
  folder.write("b.mp4", "-2.0");
  // Memory's file system can keep any time; that of the disk may not.
  const fs::path memory = fs::is_directory("/dev/shm") ? "/dev/shm" : folder.path();
  const fs::path clip = memory / fmt::format("nocktrail-{}.mp4", ::getpid());
  std::ofstream(clip) << "-1.0";
  fs::create_symlink(clip, folder / "a.mp4");
  // Year 2147485547 and some: more than a calendar of int years holds. Not every file system can.
  const timespec times[2] = {{0, UTIME_OMIT}, {67768036191676799 + 31536000L, 0}};
  ::utimensat(AT_FDCWD, clip.c_str(), times, 0);
  struct stat status {};
  ::stat(clip.c_str(), &status);
  if (status.st_mtim.tv_sec != times[1].tv_sec) {
    MESSAGE("the file system here has no such times");
  }
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  fs::remove(clip);
  CHECK_FALSE(read.halted);
  CHECK_FALSE(read.failed);
  REQUIRE(clip_named(read.record, "a.mp4") != nullptr);
  CHECK(clip_named(read.record, "a.mp4")->reading.status == ClipStatus::measured);
  CHECK(clip_named(read.record, "b.mp4")->reading.status == ClipStatus::measured);
  if (status.st_mtim.tv_sec == times[1].tv_sec) {
    CHECK(clip_named(read.record, "a.mp4")->filmed_at_utc.empty());
  }
  CHECK(clip_named(read.record, "b.mp4")->filmed_at_utc.size() == 20);
}

TEST_CASE("fault: stills of before stay until there is something new that refers to others") {
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  CHECK(stills_in(folder) == 1);
  folder.write("session.toml", "hand = \"left\"\n");
  read_session(folder.path(), fakes(reader), {},
               [](const SessionRead&, const report::OwnFolder&) { return false; });
  CHECK(stills_in(folder) == 2);
  read_session(folder.path(), fakes(reader), {},
               [](const SessionRead&, const report::OwnFolder&) { return true; });
  CHECK(stills_in(folder) == 1);
}

TEST_CASE("fault: the folder is held from before it is listed until all is published") {
  const Folder folder;
  folder.write("session.toml", "name = \"old\"\n");
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  std::promise<void> publishing;
  std::promise<void> go_on;
  std::thread first([&] {
    read_session(folder.path(), fakes(reader), {},
                 [&](const SessionRead&, const report::OwnFolder&) {
                   publishing.set_value();
                   go_on.get_future().wait();
                   return true;
                 });
  });
  publishing.get_future().wait();
  // Another one waits although all clips are read, and then sees what came in the meantime.
  bool waited = false;
  SessionEvents events;
  events.message = [&](const std::string& line) {
    if (says(line, "waiting") && !waited) {
      waited = true;
      folder.write("session.toml", "name = \"new\"\n");
      folder.write("b.mp4", "-2.0");
      go_on.set_value();
    }
  };
  const SessionRead second = read_session(folder.path(), fakes(reader), events);
  if (!waited) {
    go_on.set_value();
  }
  first.join();
  CHECK(waited);
  CHECK(second.record.name == "new");
  CHECK(second.record.setups[0].clips.size() == 2);
}
