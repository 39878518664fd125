// Shots from the side joined with those from behind.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/units/units.hpp"
#include "session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

ClipRecord from_side(const std::string& file, double high_deg, double u95_deg = 0.15) {
  ClipRecord clip;
  clip.file = file;
  clip.reading.status = ClipStatus::measured;
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.view = View::side;
  shot.nock_high_deg = Measured{high_deg, u95_deg};
  shot.shared = SharedError{0.0, 0.08, 0.0};
  clip.reading.shots.push_back(shot);
  return clip;
}

// As a camera sees a bow-frame offset (docs/measurement.md, "Bow frame").
struct Seen {
  double right_deg;
  double high_deg;
};
Seen seen(double lat_deg, double vert_deg, double cant_deg) {
  const double c = cant_deg * std::numbers::pi / 180.0;
  return {lat_deg * std::cos(c) + vert_deg * std::sin(c),
          -lat_deg * std::sin(c) + vert_deg * std::cos(c)};
}

}  // namespace

TEST_CASE("reference: a shot from the side is turned by the cant with the lateral from behind") {
  // Bow frame: 3 deg left, 0.9 deg high, at a cant of 15 deg.
  const Seen in_range = seen(-3.0, 0.9, 15.0);
  SetupFacts told = facts();
  told.cant_deg = 15.0;
  SetupRecord record = setup("a", told, in_range.right_deg, in_range.high_deg, 4, 0.1);
  for (int i = 0; i < 4; ++i) {
    record.clips.push_back(from_side("side" + std::to_string(i) + ".mp4", in_range.high_deg));
  }
  const SessionJudgement judged = made::judged({record});
  const SetupJudgement& setup = judged.setups.front();
  REQUIRE(setup.side_shots.size() == 4);
  REQUIRE(setup.side_shots.front().vert_deg);
  CHECK(setup.side_shots.front().vert_deg->value == doctest::Approx(0.9).epsilon(0.03));
  REQUIRE(setup.vertical);
  CHECK(setup.vertical->mean_deg == doctest::Approx(0.9).epsilon(0.05));
  CHECK(setup.counted == 4);
  CHECK(setup.refused == 0);
  CHECK(setup.summary.find("4 from the side") != std::string::npos);
}

TEST_CASE("rules: from the side the nocking point is settled that is open from behind") {
  SetupRecord alone = setup("a", facts(), -0.1, 0.2, 4, 0.1);
  for (ClipRecord& clip : alone.clips) {
    clip.reading.shots.front().nock_high_deg->u95 = 1.5;
  }
  SetupRecord with = alone;
  for (int i = 0; i < 4; ++i) {
    with.clips.push_back(from_side("side" + std::to_string(i) + ".mp4", 1.5));
  }
  CHECK(made::judged({alone}).setups.front().nocking_point == NockingPointVerdict::unclear);
  const SetupJudgement joined = made::judged({with}).setups.front();
  CHECK(joined.nocking_point == NockingPointVerdict::high);
  CHECK(joined.vertical->u95_deg < 0.8);
  // What is measured sideways is as it was.
  CHECK(joined.lateral->mean_deg == made::judged({alone}).setups.front().lateral->mean_deg);
}

TEST_CASE("rules: views that do not agree are said, and the interval takes both in") {
  SetupRecord record = setup("a", facts(), 0.0, 2.0, 6, 0.1);
  for (int i = 0; i < 4; ++i) {
    record.clips.push_back(from_side("side" + std::to_string(i) + ".mp4", -2.0));
  }
  const SetupJudgement judged = made::judged({record}).setups.front();
  bool said = false;
  for (const std::string& warning : judged.warnings) {
    said = said || warning.find("do not agree") != std::string::npos;
  }
  CHECK(said);
  CHECK(judged.vertical->u95_deg > 0.5);
}

TEST_CASE("rules: shots from the side alone say nothing of spine, and ask for those from behind") {
  SetupRecord record{"a", facts(), {from_side("side.mp4", 1.5)}};
  const SetupJudgement judged = made::judged({record}).setups.front();
  CHECK_FALSE(judged.lateral);
  CHECK(judged.spine == SpineVerdict::unclear);
  CHECK(judged.nocking_point == NockingPointVerdict::unclear);
  CHECK(judged.refused == 0);
  CHECK(judged.summary.find("none from behind") != std::string::npos);
}

TEST_CASE("rules: a shot from the side that its archer leaves out does not count") {
  SetupRecord record = setup("a", facts(), 0.0, 0.0, 4, 0.1);
  record.clips.push_back(from_side("side.mp4", 3.0));
  record.clips.back().dropped = "touched the shelf";
  const SetupJudgement judged = made::judged({record}).setups.front();
  CHECK(std::abs(judged.vertical->mean_deg) < 0.2);
  CHECK(judged.side_shots.front().dropped);
}

TEST_CASE("reference: a shot from the side is turned by the cant told for its own clip") {
  // The bow upright for the side clip alone: height against plumb is then height at the bow.
  const Seen in_range = seen(-3.0, 0.9, 15.0);
  SetupFacts told = facts();
  told.cant_deg = 15.0;
  SetupRecord record = setup("a", told, in_range.right_deg, in_range.high_deg, 4, 0.1);
  record.clips.push_back(from_side("upright.mp4", 0.9));
  record.clips.back().cant_deg = 0.0;
  const SetupJudgement upright = made::judged({record}).setups.front();
  REQUIRE(upright.side_shots.front().vert_deg);
  CHECK(upright.side_shots.front().vert_deg->value == doctest::Approx(0.9).epsilon(0.02));

  // A cant told for a clip from behind is that one's alone.
  record.clips.front().cant_deg = 5.0;
  record.clips.back() = from_side("canted.mp4", in_range.high_deg);
  const SetupJudgement canted = made::judged({record}).setups.front();
  REQUIRE(canted.side_shots.front().vert_deg);
  CHECK(canted.side_shots.front().vert_deg->value == doctest::Approx(0.9).epsilon(0.06));
}

TEST_CASE("rules: a shot from the side with the other hand does not count, as from behind") {
  SetupFacts told = facts();
  told.hand = Hand::right;
  SetupRecord record = setup("a", told, 0.0, 0.0, 4, 0.1);
  record.clips.push_back(from_side("side.mp4", 3.0));
  record.clips.back().hand = Hand::left;
  const SetupJudgement judged = made::judged({record}).setups.front();
  CHECK(judged.side_shots.front().dropped);
  CHECK(judged.side_shots.front().why == "shot left-handed, the set-up is right-handed");
  CHECK(std::abs(judged.vertical->mean_deg) < 0.2);
}
