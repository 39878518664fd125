// The one clip that `nocktrail demo` ships, read by this program: the reading that lies beside it
// must still be what the reader says of it. If it is not, run tools/demo_readings.sh.
#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "program.hpp"

namespace nocktrail::session::test {

TEST_CASE("reference: the demo's clip reads as its shipped reading says") {
  const Folder folder;
  Program demo(folder, "demo", {"demo", (folder / "d").string()});
  REQUIRE_MESSAGE(demo.wait() == 0, demo.err());
  const fs::path clip = folder / "d/6-finished/shot-63.mp4";
  const auto shipped =
      nlohmann::json::parse(content(clip.string() + ".reading.json"))["reading"]["shots"][0];
  Program read(folder, "read", {"read", "--json", (folder / "new.json").string(), clip.string()});
  REQUIRE_MESSAGE(read.wait() == 0, read.err());
  const auto now = nlohmann::json::parse(content(folder / "new.json"))["shots"][0];
  for (const char* angle : {"nock_right_deg", "nock_high_deg"}) {
    CAPTURE(angle);
    // The same clip by the same reader: what differs is the machine's rounding.
    CHECK(std::abs(now[angle]["value"].get<double>() - shipped[angle]["value"].get<double>()) <
          0.5 * shipped[angle]["u95"].get<double>());
  }
}

}  // namespace nocktrail::session::test
