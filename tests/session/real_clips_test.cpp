// The real reader, on small clips of known truth.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

TEST_CASE("truth: a folder of two rendered clips and one that is no video") {
  const fs::path clips = NOCKTRAIL_TEST_CLIPS;
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("junk.mp4", "this is no video\n");
  for (const char* name : {"upside-down.mp4", "let-down.mp4"}) {
    REQUIRE(fs::exists(clips / name));
    fs::copy_file(clips / name, folder / name);
  }
  const SessionRead read = read_session(folder.path(), {});
  CHECK(read.fresh == 3);
  CHECK_FALSE(read.failed);
  CHECK(clip_named(read.record, "junk.mp4")->reading.status == ClipStatus::error);
  CHECK(clip_named(read.record, "let-down.mp4")->reading.status != ClipStatus::measured);
  const tune::ClipRecord* shot = clip_named(read.record, "upside-down.mp4");
  REQUIRE(shot->reading.status == ClipStatus::measured);
  // Truth beside the clip: nock right -2.44 deg. The side must be right (docs/measurement.md,
  // "What counts as right").
  const auto truth = nlohmann::json::parse(content(clips / "upside-down.truth.json"));
  const Measured& right = *shot->reading.shots[0].nock_right_deg;
  CHECK(right.value < 0.0);
  CHECK(truth["shots"][0].dump().find("-2.4") != std::string::npos);
  CHECK(content(folder.path() / shot->still).substr(1, 3) == "PNG");

  const SessionRead again = read_session(folder.path(), {});
  CHECK(again.kept == 3);
  const Measured& same =
      *clip_named(again.record, "upside-down.mp4")->reading.shots[0].nock_right_deg;
  CHECK(same.value == right.value);
  CHECK(same.u95 == right.u95);
}
