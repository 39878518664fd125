// Clips read by other workers into a session's folder, with a fake reader.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <string>
#include <thread>
#include <vector>

#include "nocktrail/error.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

TEST_CASE("unit: what was read elsewhere is what the session would have read, and not read again") {
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n[arrow]\narrow_length = \"30in\"\n");
  folder.write("1-start/a.mp4", "-3.0");
  folder.write("2-lower/b.mp4", "-1.0");
  FakeReader elsewhere;
  {
    IntoSession into(folder.path(), fakes(elsewhere));
    const tune::ClipRecord a = into.read(folder / "1-start/a.mp4");
    CHECK(a.file == "a.mp4");
    CHECK(a.reading.shots[0].verdict.spine == SpineVerdict::weak);
    // By another name of the same file, and once more: taken from the results.
    into.read(folder / "2-lower/../1-start/a.mp4");
    CHECK(elsewhere.calls() == 1);
  }
  IntoSession(folder.path(), fakes(elsewhere)).read(folder / "2-lower/b.mp4");
  CHECK(elsewhere.calls() == 2);

  FakeReader here;
  const SessionRead read = read_session(folder.path(), fakes(here));
  CHECK(here.calls() == 0);
  CHECK(read.kept == 2);
  CHECK(read.fresh == 0);
  REQUIRE(read.record.setups.size() == 2);
  CHECK(read.record.setups[0].clips[0].reading.shots[0].verdict.spine == SpineVerdict::weak);
}

TEST_CASE("unit: other facts are another reading") {
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("1-start/a.mp4", "-3.0");
  FakeReader reader;
  IntoSession(folder.path(), fakes(reader)).read(folder / "1-start/a.mp4");
  folder.write("session.toml", "hand = \"right\"\n[arrow]\narrow_length = \"30in\"\n");
  read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 2);
}

TEST_CASE("unit: the reading that is kept of a clip is found from the clip, while its facts hold") {
  const Folder folder;
  const Folder alone;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("1-start/a.mp4", "-3.0");
  folder.write("1-start/b.mp4", "-2.0");
  alone.write("c.mp4", "-1.0");
  FakeReader reader;
  const ReadSessionOptions options = fakes(reader);
  CHECK_FALSE(kept_reading(folder / "1-start/a.mp4", options));
  CHECK_FALSE(fs::exists(folder / kResultsFolder));  // asking leaves nothing
  IntoSession(folder.path(), options).read(folder / "1-start/a.mp4");
  IntoSession(alone.path(), options).read(alone / "c.mp4");
  const auto kept = kept_reading(folder / "1-start/../1-start/a.mp4", options);
  REQUIRE(kept);
  CHECK(kept->reading.shots[0].verdict.spine == SpineVerdict::weak);
  CHECK_FALSE(kept->reading.shots[0].fitted.empty());
  CHECK(kept_reading(alone / "c.mp4", options));
  CHECK_FALSE(kept_reading(folder / "1-start/b.mp4", options));
  CHECK_FALSE(kept_reading(folder / "1-start/gone.mp4", options));
  // Hand judges anew; the arrow's length is another reading.
  folder.write("session.toml", "hand = \"left\"\n");
  const auto left = kept_reading(folder / "1-start/a.mp4", options);
  REQUIRE(left);
  CHECK(left->reading.shots[0].verdict.spine == SpineVerdict::stiff);
  folder.write("session.toml", "[arrow]\narrow_length = \"30in\"\n");
  CHECK_FALSE(kept_reading(folder / "1-start/a.mp4", options));
  folder.write("session.toml", "hnad = 1\n");
  CHECK_FALSE(kept_reading(folder / "1-start/a.mp4", options));
  CHECK(reader.calls() == 2);
}

TEST_CASE("fault: clips of no session, slips in its files, and clips that are gone are said") {
  const Folder folder;
  const Folder other;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("1-start/a.mp4", "-3.0");
  other.write("b.mp4", "-1.0");
  FakeReader reader;
  IntoSession into(folder.path(), fakes(reader));
  CHECK_THROWS_AS(into.read(other / "b.mp4"), UnreadableClip);
  CHECK_THROWS_AS(into.read(folder / "1-start/gone.mp4"), UnreadableClip);
  fs::remove(folder / "1-start/a.mp4");
  CHECK_THROWS_AS(into.read(folder / "1-start/a.mp4"), UnreadableClip);
  folder.write("session.toml", "hnad = \"right\"\n");
  CHECK_THROWS_AS(IntoSession(folder.path(), fakes(reader)), BadInput);
  CHECK(reader.calls() == 0);
}

TEST_CASE("fault: several workers at once, on the same clips, leave whole readings") {
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  for (int k = 0; k < 6; ++k) {
    folder.write(fmt::format("1-start/{}.mp4", k), fmt::format("-{}.5", k));
  }
  {
    std::vector<std::jthread> workers;
    for (int worker = 0; worker < 4; ++worker) {
      workers.emplace_back([&folder] {
        FakeReader reader;
        IntoSession into(folder.path(), fakes(reader));
        for (int k = 0; k < 6; ++k) {
          into.read(folder / fmt::format("1-start/{}.mp4", k));
        }
      });
    }
  }
  FakeReader reader;
  const SessionRead read = read_session(folder.path(), fakes(reader));
  CHECK(reader.calls() == 0);
  CHECK(read.kept == 6);
}
