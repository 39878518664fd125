// Reading a folder with a fake reader: what is read, what is kept, what is judged anew.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <string>

#include "nocktrail/session/words.hpp"
#include "nocktrail/version.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

std::size_t files_in(const fs::path& folder) {
  return static_cast<std::size_t>(
      std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

void three_clips(const Folder& folder) {
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("1-start/a.mp4", "-3.0");
  folder.write("1-start/b.mp4", "-2.5");
  folder.write("2-lower/c.mp4", "-1.0");
}

}  // namespace

TEST_CASE("unit: a folder is read once, and the second run takes everything from the results") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  const SessionRead first = read_session(folder.path(), fakes(reader));
  CHECK(first.fresh == 3);
  CHECK(first.kept == 0);
  CHECK_FALSE(first.failed);
  CHECK(first.messages.empty());
  REQUIRE(first.record.setups.size() == 2);
  const tune::ClipRecord& a = first.record.setups[0].clips[0];
  CHECK(a.file == "a.mp4");
  CHECK(a.program_version == kVersion);
  CHECK(a.read_at_utc.size() == std::string("2026-01-01T00:00:00Z").size());
  CHECK(a.reading.shots[0].verdict.spine == SpineVerdict::weak);
  CHECK(content(folder.path() / a.still) == "still of shot 0 of 1, right");

  const SessionRead second = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 3);
  CHECK(second.kept == 3);
  CHECK(second.fresh == 0);
  const tune::ClipRecord& again = second.record.setups[0].clips[0];
  CHECK(again.sha256 == a.sha256);
  CHECK(again.read_at_utc == a.read_at_utc);
  CHECK(again.still == a.still);
  // What the schema of readings leaves out comes back too: it bears on judging and drawing.
  const Shot& shot = again.reading.shots[0];
  CHECK(shot.right_high_correlation == doctest::Approx(0.25));
  CHECK(shot.reference_index == 17);
  REQUIRE(shot.fitted.size() == 1);
  CHECK(shot.fitted[0].nock_px.x() == doctest::Approx(100.5));
  CHECK(shot.fitted[0].reference_from_frame(0, 2) == doctest::Approx(3.5));
  CHECK(shot.verdict.summary == a.reading.shots[0].verdict.summary);
  CHECK(shot.verdict.next_step == a.reading.shots[0].verdict.next_step);
}

TEST_CASE("unit: a renamed or moved clip is not read again") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  fs::rename(folder / "1-start/a.mp4", folder / "1-start/z.mp4");
  fs::rename(folder / "1-start/b.mp4", folder / "2-lower/b.mp4");
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 3);
  CHECK(read.record.setups[0].clips[0].file == "z.mp4");
  CHECK(says(read.record.setups[0].clips[0].reading.clip.path, "z.mp4"));
  CHECK(read.record.setups[1].clips.size() == 2);
}

TEST_CASE("unit: new content under an old name is read") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  folder.write("1-start/a.mp4", "-9.0");  // as long as before
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 4);
  CHECK(read.fresh == 1);
  CHECK(clip_named(read.record, "a.mp4")->reading.shots[0].nock_right_deg->value ==
        doctest::Approx(-9.0));
}

TEST_CASE("unit: hand and cant judge anew without reading; stills follow") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  const SessionRead before = read_session(folder.path(), fakes(reader));
  const std::string old_still = clip_named(before.record, "a.mp4")->still;
  folder.write("session.toml", "hand = \"left\"\n[clip.\"b.mp4\"]\nhand = \"right\"\ncant = 90\n");
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 3);
  const tune::ClipRecord* a = clip_named(read.record, "a.mp4");
  CHECK(a->reading.shots[0].verdict.spine == SpineVerdict::stiff);
  CHECK(content(folder.path() / a->still) == "still of shot 0 of 1, left");
  CHECK(a->still == old_still);  // under the same name
  // At a cant of +90 deg, nock_right = vert and nock_high = -lat (the contract's bow frame).
  const tune::ClipRecord* b = clip_named(read.record, "b.mp4");
  REQUIRE(b->reading.shots[0].in_bow);
  CHECK(b->reading.shots[0].in_bow->nock_high_deg.value == doctest::Approx(-2.5));
  CHECK(b->reading.shots[0].in_bow->nock_right_deg.value == doctest::Approx(-1.5));
  CHECK(b->hand == Hand::right);
  CHECK(b->cant_deg == doctest::Approx(90.0));
  // And taken back, it is as it was.
  folder.write("session.toml", "hand = \"right\"\n");
  const SessionRead back = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 3);
  CHECK(clip_named(back.record, "b.mp4")->reading.shots[0].bow->source == BowSource::assumed);
  CHECK(clip_named(back.record, "a.mp4")->still == old_still);
  CHECK(content(folder.path() / old_still) == "still of shot 0 of 1, right");
}

TEST_CASE("unit: focal length, arrow length and rate given later are measured with") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  folder.write("session.toml",
               "[camera]\nfocal_35mm = 26\n[clip.\"c.mp4\"]\nfocal_35mm = 52\ncapture_fps = 240\n");
  folder.write("2-lower/setup.toml", "[arrow]\narrow_length = \"30in\"\n");
  read_session(folder.path(), fakes(reader));
  REQUIRE(reader.calls() == 6);
  int with_52 = 0;
  for (std::size_t i = 3; i < 6; ++i) {
    const ReadClipOptions options = reader.asked()[i];
    REQUIRE(options.focal_35mm);
    if (*options.focal_35mm == 52.0) {
      ++with_52;
      CHECK(options.capture_fps == doctest::Approx(240.0));
      CHECK(options.arrow_length_m == doctest::Approx(0.762));
    } else {
      CHECK(*options.focal_35mm == 26.0);
      CHECK_FALSE(options.capture_fps);
      CHECK_FALSE(options.arrow_length_m);
    }
  }
  CHECK(with_52 == 1);
  // Nothing computed is lost: back to the old facts, the old readings are there.
  folder.write("session.toml", "");
  fs::remove(folder / "2-lower/setup.toml");
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 6);
  CHECK(read.kept == 3);
}

TEST_CASE("unit: a reading of another version of the program is read again") {
  const Folder folder;
  three_clips(folder);
  FakeReader reader;
  read_session(folder.path(), fakes(reader));
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
    nlohmann::json j = nlohmann::json::parse(content(entry.path()));
    j["program_version"] = "0.0.1";
    std::ofstream(entry.path()) << j.dump();
  }
  read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 6);
}

TEST_CASE("unit: a dropped clip is read and kept with its reason") {
  const Folder folder;
  three_clips(folder);
  folder.write("1-start/setup.toml", "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  const tune::ClipRecord* a = clip_named(read.record, "a.mp4");
  REQUIRE(a != nullptr);
  CHECK(a->dropped == "plucked");
  CHECK(a->reading.status == ClipStatus::measured);
  CHECK(says(clip_line("1-start", *a), "1-start/a.mp4: left out (plucked); nock left 3.2"));
}

TEST_CASE("unit: a shot to be left out that is not there is said") {
  const Folder folder;
  three_clips(folder);
  folder.write("1-start/setup.toml",
               "[clip.\"a.mp4#1\"]\ndrop = \"plucked\"\n[clip.\"a.mp4#9\"]\ndrop = \"slipped\"\n");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  REQUIRE(read.messages.size() == 1);
  CHECK(read.messages[0] == "1-start/a.mp4: shot 9 is to be left out, but the clip holds 1");
  CHECK(says(clip_line("1-start", *clip_named(read.record, "a.mp4")), "shot 1 left out (plucked)"));
}

TEST_CASE("unit: one clip in one line") {
  const Folder folder;
  three_clips(folder);
  folder.write("session.toml", "hand = \"right\"\ncant = 0\n");
  folder.write("2-lower/n.mp4", "none");
  folder.write("2-lower/x.mp4", "broken");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(clip_line("1-start", *clip_named(read.record, "a.mp4")) ==
        "1-start/a.mp4: nock left 3.00 ± 0.34 deg, nock high 1.5 ± 0.6 deg; spine weak, nocking "
        "point high");
  CHECK(clip_line(".", *clip_named(read.record, "n.mp4")) == "n.mp4: no shot: no arrow was seen");
  tune::ClipRecord cut = *clip_named(read.record, "n.mp4");
  cut.reading.clip.cut_short = true;
  CHECK(says(clip_line(".", cut), "n.mp4: no shot: no arrow was seen; caution: the file was cut"));
  CHECK(clip_line(".", *clip_named(read.record, "x.mp4")) ==
        "x.mp4: cannot be read: is not a video file");
}

TEST_CASE("unit: the session as JSON names every clip, and the messages") {
  const Folder folder;
  three_clips(folder);
  folder.write("2-lower/twin.mp4", "-1.0");
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  tune::SessionJudgement judgement;
  judgement.setups.resize(2);
  const nlohmann::json j = session_json(read.record, judgement, read.messages);
  CHECK(j["setups"][0]["clips"].size() == 2);
  CHECK(j["setups"][0]["clips"][0]["file"] == "a.mp4");
  CHECK(j["setups"][0]["clips"][0]["status"] == "measured");
  CHECK(j["setups"][0]["clips"][0]["dropped"].is_null());
  CHECK(j["messages"].size() == 1);
}

TEST_CASE("unit: five hundred clips, read by two at a time, each once") {
  const Folder folder;
  for (int i = 0; i < 500; ++i) {
    folder.write(fmt::format("{}-set/clip-{:03}.mp4", 1 + i / 50, i), fmt::format("-{}.5", i));
  }
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  std::set<std::string> seen;
  std::size_t most_done = 0;
  SessionEvents events;
  events.clip = [&](const std::string& setup, const tune::ClipRecord& clip, bool fresh) {
    CHECK(fresh);
    CHECK(seen.insert(setup + "/" + clip.file).second);
  };
  events.step = [&](const SessionEvents::Step& step) {
    most_done = std::max(most_done, step.done);
  };
  const SessionRead read = read_session(folder.path(), options, events);
  CHECK(reader.calls() == 500);
  CHECK(seen.size() == 500);
  CHECK(most_done <= 500);
  REQUIRE(read.record.setups.size() == 10);
  CHECK(read.record.setups[9].name == "10-set");
  for (const tune::SetupRecord& setup : read.record.setups) {
    REQUIRE(setup.clips.size() == 50);
    CHECK(std::is_sorted(setup.clips.begin(), setup.clips.end(),
                         [](const auto& a, const auto& b) { return a.file < b.file; }));
  }
  CHECK(files_in(folder / "nocktrail-results/readings") == 500);
  CHECK(read_session(folder.path(), options).kept == 500);
  CHECK(reader.calls() == 500);
}

TEST_CASE("unit: results may lie elsewhere, and stills are found from the session's folder") {
  const Folder folder;
  const Folder elsewhere;
  three_clips(folder);
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  options.results = elsewhere / "kept/here";
  const SessionRead read = read_session(folder.path(), options);
  CHECK_FALSE(fs::exists(folder / "nocktrail-results"));
  CHECK(files_in(elsewhere / "kept/here/readings") == 3);
  CHECK(fs::exists(fs::path(read.record.folder) / read.record.setups[0].clips[0].still));
}

TEST_CASE(
    "unit: a reading is told of once it is kept, before its still is drawn, and only when new") {
  const Folder folder;
  folder.write("a.mp4", "-2.0");
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  std::vector<std::string> order;
  options.draw = [&](const Reading&, const StillRequest&) {
    order.emplace_back("drawn");
    return std::string("still");
  };
  SessionEvents events;
  events.read = [&](const std::string& setup, const tune::ClipRecord& clip) {
    CHECK(setup == ".");
    CHECK(clip.file == "a.mp4");
    CHECK(clip.reading.status == ClipStatus::measured);
    CHECK(clip.still.empty());
    CHECK_FALSE(fs::is_empty(folder / "nocktrail-results/readings"));
    order.emplace_back("read");
  };
  events.clip = [&](const std::string&, const tune::ClipRecord&, bool fresh) {
    order.emplace_back(fresh ? "ready" : "kept");
  };
  read_session(folder.path(), options, events);
  read_session(folder.path(), options, events);
  CHECK(order == std::vector<std::string>{"read", "drawn", "ready", "kept"});
}
