// What goes wrong around a session: bad clips, twins, stops, full disks, damaged results.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <string>

#include "nocktrail/error.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

TEST_CASE("fault: one bad clip never stops the rest") {
  const Folder folder;
  folder.write("a.mp4", "broken");
  folder.write("b.mp4", "-1.0");
  folder.write("c.mp4", "bug");
  folder.write("d.mp4", "none");
  folder.write("e.mp4", "-2.0");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(read.record.setups[0].clips.size() == 5);
  CHECK(clip_named(read.record, "a.mp4")->reading.status == ClipStatus::error);
  CHECK(clip_named(read.record, "b.mp4")->reading.status == ClipStatus::measured);
  CHECK(clip_named(read.record, "c.mp4")->reading.status == ClipStatus::error);
  CHECK(clip_named(read.record, "d.mp4")->reading.status == ClipStatus::no_shot);
  CHECK(clip_named(read.record, "e.mp4")->reading.status == ClipStatus::measured);
  CHECK(read.failed);
  CHECK(any_says(read.messages, "c.mp4: fault in the program itself: index out of range"));
  // What the program failed on is tried again; what is settled is not.
  read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 6);
}

TEST_CASE("fault: two clips of the same content are named and counted once") {
  const Folder folder;
  folder.write("1-start/a.mp4", "-3.0");
  folder.write("1-start/copy of a.mp4", "-3.0");
  folder.write("2-lower/a again.mp4", "-3.0");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 1);
  CHECK(read.record.setups[0].clips.size() == 1);
  CHECK(read.record.setups[1].clips.empty());
  REQUIRE(read.messages.size() == 2);
  CHECK(any_says(read.messages, "1-start/copy of a.mp4: has the same content as 1-start/a.mp4"));
  CHECK(any_says(read.messages, "2-lower/a again.mp4: has the same content as 1-start/a.mp4"));
}

TEST_CASE("fault: faults in the hand-written files stop before anything is read") {
  const Folder folder;
  folder.write("session.toml", "hnad = \"right\"\n");
  folder.write("a.mp4", "-3.0");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(read.faults.size() == 1);
  CHECK(reader.calls() == 0);
  CHECK_FALSE(fs::exists(folder / "nocktrail-results"));
}

TEST_CASE("fault: a stop keeps what was read, and the next run goes on") {
  const Folder folder;
  for (int i = 0; i < 20; ++i) {
    folder.write(fmt::format("{:02}.mp4", i), fmt::format("-{}.0", i));
  }
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  SessionEvents events;
  events.stop = [&] { return reader.calls() >= 7; };
  const SessionRead stopped = read_session(folder.path(), options, events);
  CHECK(stopped.stopped);
  CHECK_FALSE(stopped.failed);
  CHECK(stopped.fresh + stopped.unread == 20);
  CHECK(stopped.fresh > 0);
  CHECK(stopped.unread > 0);
  FakeReader second;
  const SessionRead rest = read_session(folder.path(), fakes(second));
  CHECK_FALSE(rest.stopped);
  CHECK(rest.kept == stopped.fresh);
  CHECK(rest.fresh == stopped.unread);
  CHECK(static_cast<std::size_t>(second.calls()) == stopped.unread);
}

TEST_CASE("fault: a stop before the clips were even looked at counts them all as left") {
  const Folder folder;
  for (int i = 0; i < 6; ++i) {
    folder.write(fmt::format("{}.mp4", i), fmt::format("-{}.0", i));
  }
  FakeReader reader;
  SessionEvents events;
  int asked = 0;
  events.stop = [&] { return ++asked > 3; };
  ReadSessionOptions options = fakes(reader);
  options.workers = 1;
  const SessionRead read = read_session(folder.path(), options, events);
  CHECK(read.stopped);
  CHECK(read.unread == 6);
  CHECK(reader.calls() == 0);
}

TEST_CASE("fault: a kill at any instant leaves only whole readings") {
  const Folder folder;
  for (int i = 0; i < 40; ++i) {
    folder.write(fmt::format("{:02}.mp4", i), fmt::format("-{}.0", i));
  }
  for (int kill_at : {1, 3, 8}) {
    const pid_t child = ::fork();
    if (child == 0) {
      FakeReader reader;
      ReadSessionOptions options = fakes(reader);
      const ReadFunction read = options.read;
      options.read = [&, kill_at](const fs::path& path, const ReadClipOptions& how,
                                  const Progress& progress) {
        if (reader.calls() >= kill_at) {
          ::kill(::getpid(), SIGKILL);
        }
        return read(path, how, progress);
      };
      read_session(folder.path(), options);
      ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    CHECK(WIFSIGNALED(status));
    for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
      if (entry.path().extension() == ".json") {
        CHECK(content(entry.path()).ends_with("}\n"));
      }
    }
  }
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(read.record.setups[0].clips.size() == 40);
  CHECK(read.kept >= 3);
  CHECK_FALSE(read.failed);
}

TEST_CASE("fault: damaged results are made again") {
  const Folder folder;
  folder.write("a.mp4", "-3.0");
  folder.write("b.mp4", "-2.0");
  folder.write("c.mp4", "-1.0");
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  int n = 0;
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
    const std::string whole = content(entry.path());
    const std::string emptied =
        whole.substr(0, whole.find("\"reading\":")) + "\"reading\":[],\"beside\":[]}\n";
    const std::string damaged[] = {"", whole.substr(0, whole.size() / 2), emptied};
    std::ofstream(entry.path(), std::ios::binary) << damaged[n++ % 3];
  }
  folder.write("nocktrail-results/files.json",
               "{\"schema\": \"nocktrail.session-files/1\", "
               "\"files\": [1, 2]}");
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 6);
  CHECK(read.fresh == 3);
  CHECK_FALSE(read.failed);
  CHECK(read_session(folder.path(), fakes(reader)).kept == 3);
}

TEST_CASE("fault: no room on the disk is one clear line; the readings in hand are not lost") {
  const Folder folder;
  for (int i = 0; i < 30; ++i) {
    folder.write(fmt::format("{:02}.mp4", i), fmt::format("-{}.0", i));
  }
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  // A limit on the size of files stands for the full disk: write() fails after a part is written.
  rlimit old{};
  ::getrlimit(RLIMIT_FSIZE, &old);
  const auto old_action = std::signal(SIGXFSZ, SIG_IGN);
  options.read = [&](const fs::path& path, const ReadClipOptions& how, const Progress& progress) {
    if (reader.calls() >= 5) {  // two workers may pass a number at once
      const rlimit full{100, old.rlim_max};
      ::setrlimit(RLIMIT_FSIZE, &full);
    }
    return reader.function()(path, how, progress);
  };
  const SessionRead read = read_session(folder.path(), options);
  ::setrlimit(RLIMIT_FSIZE, &old);
  std::signal(SIGXFSZ, old_action);
  CHECK(read.halted);
  REQUIRE(read.messages.size() == 1);
  CHECK(says(read.messages[0], "cannot be written"));
  CHECK(read.fresh >= 4);  // one of the five may not be on the disk yet
  CHECK(read.unread > 0);
  CHECK(reader.calls() <= 8);  // no use in reading on
  const SessionRead rest = read_session(folder.path(), fakes(reader));
  CHECK_FALSE(rest.failed);
  CHECK(rest.kept + rest.fresh == 30);
  CHECK(rest.kept == read.fresh);
}

TEST_CASE("fault: results that cannot be written say where else to put them") {
  const Folder folder;
  folder.write("a.mp4", "-3.0");
  folder.write("nocktrail-results", "a file in the way");
  FakeReader reader;
  try {
    read_session(folder.path(), fakes(reader));
    FAIL("no complaint");
  } catch (const BadInput& problem) {
    CHECK(says(problem.what(), "nocktrail-results"));
    CHECK(says(problem.what(), "--results DIR"));
  }
  CHECK(reader.calls() == 0);
}

TEST_CASE("fault: a clip that changes or goes while it is read is left for the next run") {
  const Folder folder;
  folder.write("a.mp4", "-3.0");
  folder.write("b.mp4", "-2.0");
  folder.write("c.mp4", "-1.0");
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  options.read = [&](const fs::path& path, const ReadClipOptions& how, const Progress& progress) {
    const Reading reading = reader.function()(path, how, progress);
    if (path.filename() == "a.mp4") {
      folder.write("a.mp4", "-3.0, and more of the copy");
    } else if (path.filename() == "b.mp4") {
      fs::remove(path);
    }
    return reading;
  };
  const SessionRead read = read_session(folder.path(), options);
  CHECK(read.record.setups[0].clips.size() == 1);
  CHECK(any_says(read.messages, "a.mp4: changed while it was being read"));
  CHECK(any_says(read.messages, "b.mp4: went away while it was being read"));
  const SessionRead next = read_session(folder.path(), fakes(reader));
  CHECK(next.record.setups[0].clips.size() == 2);
  CHECK(next.fresh == 1);
}

TEST_CASE("fault: two processes in one folder take turns") {
  const Folder folder;
  folder.write("a.mp4", "-3.0");
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  options.read = [&](const fs::path& path, const ReadClipOptions& how, const Progress& progress) {
    // While this one is at work, another waits, says so, and can be stopped.
    FakeReader other;
    SessionEvents events;
    bool waited = false;
    events.message = [&](const std::string& line) { waited = waited || says(line, "waiting"); };
    events.stop = [&] { return waited; };
    const SessionRead second = read_session(folder.path(), fakes(other), events);
    CHECK(waited);
    CHECK(second.stopped);
    CHECK(other.calls() == 0);
    return reader.function()(path, how, progress);
  };
  CHECK(read_session(folder.path(), options).fresh == 1);
}
