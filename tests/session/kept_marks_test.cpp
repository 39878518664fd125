// What a person marked in a session's clips: kept, taken into account by every way of reading, and
// never lost.
#include "nocktrail/session/kept_marks.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/session/watch.hpp"
#include "nocktrail/session/words.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

const std::string kHash(64, 'a');

Marks some_marks(double nock_x) {
  Marks marks;
  for (long index = 10; index < 18; ++index) {
    marks.frames.push_back({index, Eigen::Vector2d(nock_x, 200.0), Eigen::Vector2d(110.0, 100.0)});
  }
  return marks;
}

// Reads by marks what the first of them says, and counts.
struct FakeMarkedReader {
  int calls = 0;

  ReadMarkedFunction function() {
    return
        [this](const fs::path& path, const Marks& marks, const ReadClipOptions&, const Progress&) {
          ++calls;
          Reading reading;
          reading.clip.path = path.string();
          reading.clip.width = 720;
          reading.clip.height = 1280;
          reading.status = ClipStatus::measured;
          Shot shot;
          shot.status = ShotStatus::measured;
          shot.by = ReadBy::hand;
          shot.nock_right_deg = Measured{-marks.frames[0].nock_px->x() / 100.0, 0.6};
          shot.nock_high_deg = Measured{0.5, 0.9};
          reading.shots.push_back(shot);
          return reading;
        };
  }
};

struct Session {
  Session() {
    folder.write("a.mp4", "none");
    sha256 = media::sha256_of_file(folder / "a.mp4");
  }

  ReadSessionOptions options() {
    ReadSessionOptions all = fakes(reader);
    all.read_marked = by_marks.function();
    return all;
  }
  tune::ClipRecord read() {
    SessionRead read = read_session(folder.path(), options());
    messages = read.messages;
    return read.record.setups.at(0).clips.at(0);
  }
  KeptMarks kept() { return KeptMarks(marks_folder(folder.path(), options())); }
  std::string file() const { return std::string(kMarksFolder) + "/" + sha256 + ".json"; }

  Folder folder;
  std::string sha256;
  FakeReader reader;
  FakeMarkedReader by_marks;
  std::vector<std::string> messages;
};

double lateral(const tune::ClipRecord& clip) {
  return clip.reading.shots.at(0).nock_right_deg->value;
}

}  // namespace

TEST_CASE("unit: marks lie beside the clips, or with results that were put elsewhere") {
  ReadSessionOptions options;
  CHECK(marks_folder("/s", options) == "/s/nocktrail-marks");
  options.results = "/elsewhere";
  CHECK(marks_folder("/s", options) == "/elsewhere/nocktrail-marks");
}

TEST_CASE("unit: marks are kept for one content, against the version that was seen") {
  const Folder folder;
  const KeptMarks kept(folder / "marks");
  CHECK(kept.of(kHash).version.empty());
  CHECK_FALSE(kept.of(kHash).marks);
  CHECK_FALSE(fs::exists(folder / "marks"));  // looking makes nothing
  REQUIRE(kept.keep(kHash, some_marks(1.0), ""));
  const KeptMarks::Found first = kept.of(kHash);
  REQUIRE(first.marks);
  CHECK(first.marks->frames.size() == 8);
  CHECK(report::read_marks(folder / ("marks/" + kHash + ".json")).frames.size() == 8);
  // Somebody who did not see them.
  CHECK_FALSE(kept.keep(kHash, some_marks(2.0), ""));
  CHECK(kept.of(kHash).version == first.version);
  REQUIRE(kept.keep(kHash, some_marks(2.0), first.version));
  CHECK(kept.of(kHash).marks->frames[0].nock_px->x() == 2.0);
  // What they took the place of is there, and what is put away too.
  const auto before = [&] {
    return report::read_marks(folder / ("marks/" + kHash + ".json.before")).frames[0];
  };
  CHECK(before().nock_px->x() == 1.0);
  REQUIRE(kept.keep(kHash, std::nullopt, kept.of(kHash).version));
  CHECK_FALSE(kept.of(kHash).marks);
  // None that a hand made is written over: the first stay where they are, later ones beside them.
  CHECK(before().nock_px->x() == 1.0);
  CHECK(report::read_marks(folder / ("marks/" + kHash + ".json.before-2")).frames[0].nock_px->x() ==
        2.0);
  CHECK(kept.keep(kHash, std::nullopt, ""));
}

TEST_CASE("unit: a clip with marks is read by them, anew when they change and not when not") {
  Session session;
  CHECK(session.read().reading.status == ClipStatus::no_shot);
  session.kept().keep(session.sha256, some_marks(250.0), "");
  tune::ClipRecord clip = session.read();
  CHECK(lateral(clip) == doctest::Approx(-2.5));
  CHECK(session.by_marks.calls == 1);
  // Shown, and not counted until its archer says so, which is no reason to read it anew.
  CHECK(clip.dropped == kMarksDoNotCount);
  CHECK(says(clip_line(".", clip), "marked by hand"));
  Marks counted = some_marks(250.0);
  counted.counts = true;
  session.kept().keep(session.sha256, counted, session.kept().of(session.sha256).version);
  clip = session.read();
  CHECK(clip.dropped.empty());
  CHECK(says(clip_line(".", clip), "marked by hand"));
  CHECK(session.by_marks.calls == 1);
  // Other marks, then the old ones again, then none: each reading is kept.
  session.kept().keep(session.sha256, some_marks(150.0), session.kept().of(session.sha256).version);
  CHECK(lateral(session.read()) == doctest::Approx(-1.5));
  CHECK(session.by_marks.calls == 2);
  session.kept().keep(session.sha256, counted, session.kept().of(session.sha256).version);
  CHECK(lateral(session.read()) == doctest::Approx(-2.5));
  session.kept().keep(session.sha256, std::nullopt, session.kept().of(session.sha256).version);
  CHECK(session.read().reading.status == ClipStatus::no_shot);
  CHECK(session.by_marks.calls == 2);
  CHECK(session.reader.calls() == 1);
}

TEST_CASE("unit: what the archer left out stays left out with that reason") {
  Session session;
  session.folder.write("session.toml", "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  session.kept().keep(session.sha256, some_marks(250.0), "");
  CHECK(session.read().dropped == "plucked");
}

TEST_CASE("unit: marks follow their clip, outlive the results, and serve other workers") {
  Session session;
  session.kept().keep(session.sha256, some_marks(250.0), "");
  session.read();
  fs::remove_all(session.folder / kResultsFolder);
  fs::rename(session.folder / "a.mp4", session.folder / "b.mp4");
  CHECK(lateral(session.read()) == doctest::Approx(-2.5));
  CHECK(session.by_marks.calls == 2);
  fs::remove_all(session.folder / kResultsFolder);
  IntoSession into(session.folder.path(), session.options());
  CHECK(lateral(into.read(session.folder / "b.mp4")) == doctest::Approx(-2.5));
  CHECK(session.by_marks.calls == 3);
  session.read();
  CHECK(session.by_marks.calls == 3);
  // Tried only: nothing of it stays.
  CHECK(lateral(into.try_marks(session.folder / "b.mp4", some_marks(50.0))) ==
        doctest::Approx(-0.5));
  CHECK(lateral(session.read()) == doctest::Approx(-2.5));
}

TEST_CASE("unit: the folder of marks is no set-up, and a change in it is due to be read") {
  Session session;
  ArrivalOptions options;
  options.marks = marks_folder(session.folder.path(), session.options());
  Arrivals arrivals(options);
  const Arrivals::Clock::time_point now{};
  const auto look = [&] {
    return arrivals.look(session.folder.path(), {}, now, std::chrono::system_clock::now());
  };
  CHECK(look());
  CHECK_FALSE(look());
  session.kept().keep(session.sha256, some_marks(250.0), "");
  CHECK(look());
  CHECK_FALSE(look());
  session.kept().keep(session.sha256, some_marks(251.0), session.kept().of(session.sha256).version);
  CHECK(look());
  CHECK_FALSE(look());
  CHECK(load(session.folder.path()).setups.size() == 1);
}

TEST_CASE("fault: marks that are damaged, a link, or a folder are said, left alone, and not read") {
  const Folder elsewhere;
  elsewhere.write("marks.json", report::marks_text(some_marks(250.0)));
  for (const char* kind : {"damaged", "link", "folder", "huge", "number"}) {
    CAPTURE(kind);
    Session session;
    const fs::path file = session.folder / session.file();
    const std::string which = kind;
    fs::create_directories(file.parent_path());
    if (which == "damaged") {
      session.folder.write(session.file(), "{\"schema\": \"nocktrail.marks/1\", \"frames\": [");
    } else if (which == "link") {
      fs::create_symlink(elsewhere / "marks.json", file);
    } else if (which == "folder") {
      fs::create_directory(file);
    } else if (which == "huge") {
      session.folder.write(session.file(), std::string(2U << 20U, ' '));
    } else {
      session.folder.write(session.file(), "17");
    }
    CHECK(session.read().reading.status == ClipStatus::no_shot);
    CHECK(any_says(session.messages, session.sha256 + ".json"));
    CHECK(fs::exists(fs::symlink_status(file)));
    const KeptMarks::Found found = session.kept().of(session.sha256);
    CHECK_FALSE(found.version.empty());
    CHECK_FALSE(session.kept().keep(session.sha256, some_marks(250.0), ""));
    CHECK(session.kept().keep(session.sha256, some_marks(150.0), found.version));
    CHECK(lateral(session.read()) == doctest::Approx(-1.5));
  }
  CHECK(says(content(elsewhere / "marks.json"), "250"));
}

TEST_CASE("fault: a link in the place of the folder of marks is not followed") {
  Session session;
  const Folder elsewhere;
  KeptMarks(elsewhere.path()).keep(session.sha256, some_marks(250.0), "");
  fs::create_directory_symlink(elsewhere.path(), session.folder / kMarksFolder);
  CHECK(session.read().reading.status == ClipStatus::no_shot);
  CHECK_THROWS_AS(session.kept().keep(session.sha256, some_marks(1.0), ""), BadInput);
}

TEST_CASE("fault: marks of another clip, or of frames that are not there, are said and not read") {
  const Folder folder;
  fs::copy_file(fs::path(NOCKTRAIL_TEST_CLIPS) / "upside-down.mp4", folder / "a.mp4");
  const std::string sha256 = media::sha256_of_file(folder / "a.mp4");
  FakeReader reader;
  FakeMarkedReader by_marks;
  ReadSessionOptions options = fakes(reader);
  options.read_marked = by_marks.function();
  options.read = [](const fs::path& path, const ReadClipOptions&, const Progress&) {
    Reading reading;
    reading.clip.path = path.string();
    return reading;
  };
  const KeptMarks kept(marks_folder(folder.path(), options));
  Marks of_another = some_marks(250.0);
  of_another.clip_sha256 = kHash;
  Marks beyond = some_marks(250.0);
  beyond.frames[3].index = 5000;
  for (const Marks& marks : {of_another, beyond, some_marks(5000.0)}) {
    kept.keep(sha256, marks, kept.of(sha256).version);
    const SessionRead read = read_session(folder.path(), options);
    CHECK(read.record.setups.at(0).clips.at(0).reading.status == ClipStatus::no_shot);
    CHECK(any_says(read.messages, "a.mp4: marks: "));
    CHECK_FALSE(read.failed);
  }
  CHECK(by_marks.calls == 0);
}
