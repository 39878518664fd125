// What comes before any change. The order is common practice of the trade without an authoritative
// source; that one shot never proposes what a session would not is a requirement.
#include "nocktrail/rules/before_change.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/safety.hpp"

using namespace nocktrail;
using namespace nocktrail::rules;

namespace {

bool says(const std::string& text, const char* words) {
  return text.find(words) != std::string::npos;
}

bool warns(const Verdict& v, const char* words) {
  return std::any_of(v.cautions.begin(), v.cautions.end(),
                     [&](const std::string& c) { return says(c, words); });
}

Verdict judged(Measured right, Measured high, const JudgeOptions& options) {
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = right;
  shot.nock_high_deg = high;
  judge_shot(shot, options);
  return shot.verdict;
}

JudgeOptions upright(Hand hand) {
  JudgeOptions options;
  options.hand = hand;
  options.cant_deg = 0.0;
  return options;
}

const Measured kStraight{0.0, 0.2};
const Measured kLeft{-2.4, 0.2};
const Measured kRight{2.4, 0.2};

}  // namespace

TEST_CASE("unit: one shot asks for more shots, and changes nothing") {
  for (const Measured& lat : {kLeft, kStraight, kRight}) {
    for (const Measured& vert : {Measured{-2.0, 0.3}, kStraight, Measured{2.0, 0.3}}) {
      const Verdict v = judged(lat, vert, upright(Hand::right));
      CHECK(v.step == StepKind::film_more);
      for (const char* change : {"1/16", "1/4", "trim", "tip", "heavier", "lighter", "plate"}) {
        CHECK_FALSE(says(v.next_step, change));
      }
      CHECK(warns(v, "Local range rules override"));
      CHECK(warns(v, "Nobody downrange"));
    }
  }
}

TEST_CASE("unit: the nocking point is named before spine") {
  CHECK(says(judged(kLeft, {2.0, 0.3}, upright(Hand::right)).next_step,
             "the nocking point is looked at before spine"));
  CHECK(says(judged(kLeft, kStraight, upright(Hand::right)).next_step, "never a cut"));
}

TEST_CASE("unit: a bare shaft over 8 deg off is not shot again, a fletched one is") {
  // Common practice, no source: a shaft that badly matched may break.
  for (const double side : {-1.0, 1.0}) {
    const Verdict stop = judged({side * 8.1, 0.4}, kStraight, upright(Hand::right));
    CHECK(stop.step == StepKind::do_not_shoot_arrow);
    CHECK(says(stop.next_step, "Do not shoot this arrow"));
    CHECK_FALSE(says(stop.next_step, "Film"));
    const Verdict before = judged({side * 7.9, 0.4}, kStraight, upright(Hand::right));
    CHECK(before.step == StepKind::film_more);
    JudgeOptions fletched = upright(Hand::right);
    fletched.fletched = true;
    CHECK(judged({side * 8.1, 0.4}, kStraight, fletched).step == StepKind::film_more);
  }
  // Nor one that is as far off up or down, or further than 10 deg in all.
  CHECK(judged({0.2, 0.4}, {-8.1, 0.4}, upright(Hand::right)).step == StepKind::do_not_shoot_arrow);
  CHECK(judged({7.4, 0.4}, {-7.4, 0.4}, upright(Hand::right)).step == StepKind::do_not_shoot_arrow);
  CHECK(judged({6.0, 0.4}, {5.0, 0.4}, upright(Hand::right)).step == StepKind::film_more);
  // Whether it is bare is asked where nobody told.
  JudgeOptions bare = upright(Hand::right);
  bare.bare = true;
  CHECK(says(judged({8.1, 0.4}, kStraight, upright(Hand::right)).next_step, "with feathers on"));
  CHECK_FALSE(says(judged({8.1, 0.4}, kStraight, bare).next_step, "with feathers on"));
  // Whatever else is open.
  CHECK(judged({-8.5, 0.4}, kStraight, {}).step == StepKind::do_not_shoot_arrow);
}

TEST_CASE("unit: the hand is asked for first, then the cant where it decides") {
  CHECK(judged(kLeft, kStraight, upright(Hand::unknown)).step == StepKind::tell_hand);
  JudgeOptions untold;
  untold.hand = Hand::right;
  // 4 deg sideways at an assumed cant of 10 +- 20 deg: up and down may be anything.
  const Verdict open = judged({-4.0, 0.2}, {1.0, 0.2}, untold);
  CHECK(open.step == StepKind::tell_cant);
  CHECK(open.nocking_point == NockingPointVerdict::unclear);
  CHECK(open.spine == SpineVerdict::weak);
  CHECK(says(open.summary, "the cant of the bow, which was not told, decides"));
  CHECK_FALSE(says(open.next_step, "1/16"));
  // Straight sideways, there is nothing for a cant to turn into up and down.
  CHECK(judged(kStraight, {0.0, 0.2}, untold).step == StepKind::film_more);
}

TEST_CASE("unit: a bad mismatch brings its own caution, a fletched arrow none of bare shafts") {
  CHECK(warns(judged({-4.0, 0.3}, kStraight, upright(Hand::right)), "glance off"));
  CHECK(warns(judged({-4.0, 0.3}, kStraight, upright(Hand::right)), "too weak can break"));
  CHECK_FALSE(warns(judged({-1.0, 0.3}, kStraight, upright(Hand::right)), "glance off"));
  JudgeOptions fletched = upright(Hand::right);
  fletched.fletched = true;
  CHECK_FALSE(warns(judged({-4.0, 0.3}, kStraight, fletched), "glance off"));
  CHECK_FALSE(warns(judged({-4.0, 0.3}, kStraight, fletched), "too weak"));
}

TEST_CASE("unit: a cant told to the other side of the hand is asked about") {
  JudgeOptions options;
  options.hand = Hand::right;
  options.cant_deg = -15.0;
  CHECK(warns(judged(kLeft, kStraight, options), "look at its sign"));
  options.cant_deg = 15.0;
  CHECK_FALSE(warns(judged(kLeft, kStraight, options), "look at its sign"));
  options.hand = Hand::left;
  CHECK(warns(judged(kRight, kStraight, options), "look at its sign"));
}

TEST_CASE("unit: shots come one by one to the number from which a change is thought of") {
  Evidence evidence;
  evidence.hand = Hand::right;
  evidence.lat_deg = Measured{-3.0, 0.4};
  evidence.vert_deg = Measured{0.1, 0.4};
  for (int shots = 0; shots < kFewestShots; ++shots) {
    evidence.shots = shots;
    const auto asked = before_change(evidence);
    REQUIRE(asked);
    CHECK(asked->step == StepKind::film_more);
    CHECK(asked->amount == kUsualShots - shots);
  }
  evidence.shots = kFewestShots;
  CHECK_FALSE(before_change(evidence));
}
