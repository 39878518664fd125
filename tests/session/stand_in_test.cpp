// Readings made elsewhere, beside their clips and in the place of clips that are not there.
#include <doctest/doctest.h>

#include <string>

#include "nocktrail/tune/judgement.hpp"
#include "support.hpp"

namespace nocktrail::session::test {
namespace {

// Two clips, both read; then "a.mp4" goes and its reading takes its place.
struct Archive {
  Folder folder;
  FakeReader first;
  Archive() {
    folder.write("session.toml", "hand = \"right\"\n[arrow]\narrow_length = \"30in\"\n");
    folder.write("a.mp4", "-2.5");
    folder.write("b.mp4", "-1.5");
    const SessionRead read = read_session(folder.path(), fakes(first));
    REQUIRE(read.fresh == 2);
    const std::string sha = clip_named(read.record, "a.mp4")->sha256;
    for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
      if (entry.path().filename().string().starts_with(sha)) {
        fs::copy(entry.path(), folder / "a.mp4.reading.json");
      }
    }
    REQUIRE(fs::exists(folder / "a.mp4.reading.json"));
    fs::remove_all(folder / "nocktrail-results");
  }
};

double right_deg(const tune::ClipRecord& clip) {
  return clip.reading.shots.at(0).nock_right_deg->value;
}

}  // namespace

TEST_CASE("unit: a reading stands in for a clip that is not there") {
  const Archive archive;
  fs::remove(archive.folder / "a.mp4");
  FakeReader reader;
  const SessionRead read = read_session(archive.folder.path(), fakes(reader));
  CHECK(reader.calls() == 1);  // b.mp4
  const tune::ClipRecord* clip = clip_named(read.record, "a.mp4");
  REQUIRE(clip != nullptr);
  CHECK(clip->away);
  CHECK(right_deg(*clip) == doctest::Approx(-2.5));
  CHECK(clip->still.empty());
  CHECK_FALSE(clip_named(read.record, "b.mp4")->away);
  CHECK(any_says(read.messages, "1 of 2 clips are not here"));
}

TEST_CASE("unit: what is said of a clip holds for the reading in its place") {
  const Archive archive;
  fs::remove(archive.folder / "a.mp4");
  archive.folder.write("session.toml",
                       "hand = \"left\"\n[arrow]\narrow_length = \"30in\"\n"
                       "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  FakeReader reader;
  const SessionRead read = read_session(archive.folder.path(), fakes(reader));
  const tune::ClipRecord* clip = clip_named(read.record, "a.mp4");
  REQUIRE(clip != nullptr);
  CHECK(clip->dropped == "plucked");
  // Judged anew by the hand that holds now: nock left is stiff for a left-handed archer (common
  // practice).
  CHECK(clip->reading.shots.at(0).verdict.spine == SpineVerdict::stiff);
}

TEST_CASE("fault: a reading of other facts is none of this session") {
  const Archive archive;
  fs::remove(archive.folder / "a.mp4");
  archive.folder.write("session.toml", "hand = \"right\"\n[arrow]\narrow_length = \"29in\"\n");
  FakeReader reader;
  const SessionRead read = read_session(archive.folder.path(), fakes(reader));
  const tune::ClipRecord* clip = clip_named(read.record, "a.mp4");
  REQUIRE(clip != nullptr);
  CHECK(clip->reading.status == ClipStatus::error);
  CHECK(says(clip->reading.reason, "put the clip beside it"));
  CHECK(clip_named(read.record, "b.mp4")->reading.status == ClipStatus::measured);
}

TEST_CASE("fault: a damaged reading stands in for nothing") {
  for (const std::string text : {"", "{}", "no JSON", "[1"}) {
    CAPTURE(text);
    const Archive archive;
    fs::remove(archive.folder / "a.mp4");
    archive.folder.write("a.mp4.reading.json", text);
    FakeReader reader;
    const SessionRead read = read_session(archive.folder.path(), fakes(reader));
    CHECK(clip_named(read.record, "a.mp4")->reading.status == ClipStatus::error);
    CHECK(clip_named(read.record, "b.mp4")->reading.status == ClipStatus::measured);
    CHECK_FALSE(read.failed);
  }
}

TEST_CASE("fault: a reading must say of which clip it is, in nothing but figures of a checksum") {
  const Archive archive;
  fs::remove(archive.folder / "a.mp4");
  std::string text = content(archive.folder / "a.mp4.reading.json");
  const std::size_t at = text.find("\"sha256\":\"") + 10;
  text.replace(at, 64, "../../../../../../../../../../../../../../../../../../../etc/pas");
  archive.folder.write("a.mp4.reading.json", text);
  FakeReader reader;
  const SessionRead read = read_session(archive.folder.path(), fakes(reader));
  CHECK(clip_named(read.record, "a.mp4")->reading.status == ClipStatus::error);
}

TEST_CASE("unit: a reading beside its clip saves the reading where it is of that content") {
  const Archive archive;
  FakeReader same;
  const SessionRead kept = read_session(archive.folder.path(), fakes(same));
  CHECK(same.calls() == 1);  // b.mp4
  CHECK_FALSE(clip_named(kept.record, "a.mp4")->away);
  CHECK_FALSE(clip_named(kept.record, "a.mp4")->still.empty());
  archive.folder.write("a.mp4", "+3.5");
  FakeReader other;
  const SessionRead read = read_session(archive.folder.path(), fakes(other));
  CHECK(right_deg(*clip_named(read.record, "a.mp4")) == doctest::Approx(3.5));
}

TEST_CASE("unit: made_up is told by session.toml alone") {
  const Archive archive;
  archive.folder.write("session.toml", "made_up = \"all of it\"\n");
  CHECK(load(archive.folder.path()).made_up == "all of it");
  archive.folder.write("1-start/setup.toml", "made_up = \"all of it\"\n");
  CHECK(any_says(load(archive.folder.path()).faults, "made_up is not a known field"));
}

TEST_CASE("rules: what a reading in the place of a clip forbids, other facts do not lift") {
  for (const char* offset : {"-9.2", "-2.5"}) {
    CAPTURE(offset);
    Folder folder;
    folder.write("session.toml", "hand = \"right\"\n[arrow]\narrow_length = \"30in\"\n");
    folder.write("a.mp4", offset);
    FakeReader first;
    const SessionRead read = read_session(folder.path(), fakes(first));
    for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
      fs::copy(entry.path(), folder / "a.mp4.reading.json");
    }
    fs::remove_all(folder / "nocktrail-results");
    fs::remove(folder / "a.mp4");
    const bool too_far = offset[1] == '9';
    const auto forbidden = [&](const std::string& facts) {
      folder.write("session.toml", facts);
      FakeReader reader;
      const SessionRead again = read_session(folder.path(), fakes(reader));
      const tune::SessionJudgement judgement = tune::judge_session(again.record);
      CHECK(judgement.setups.at(0).stops.empty() == !forbids(judgement.next.kind));
      return forbids(judgement.next.kind);
    };
    CHECK(forbidden("hand = \"right\"\n[arrow]\narrow_length = \"30in\"\n") == too_far);
    CHECK(forbidden("hand = \"right\"\ntarget_distance = \"12m\"\n"
                    "[arrow]\narrow_length = \"30in\"\n") == too_far);
    // Its archer left it out.
    CHECK_FALSE(
        forbidden("hand = \"right\"\n[arrow]\narrow_length = \"29in\"\n"
                  "[clip.\"a.mp4\"]\ndrop = \"struck the limb\"\n"));
  }
}

}  // namespace nocktrail::session::test
