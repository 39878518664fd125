#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/safety.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace nocktrail;
using namespace nocktrail::rules;

namespace {

bool says(const std::string& text, const char* words) {
  return text.find(words) != std::string::npos;
}

JudgeOptions archer(Hand hand) {
  JudgeOptions options;
  options.hand = hand;
  return options;
}

const Measured kLevel{0.0, 0.2};

}  // namespace

TEST_CASE("reference: a canted reading turns back into the bow's frame") {
  // docs/measurement.md, "Bow frame": lat -3.000 deg at cant +15 deg appears as nock_right -2.898,
  // nock_high +0.776. Given to three decimals, so the inverse holds to their rounding.
  const BowFrameReading bow = bow_frame_from_range({-2.898, 0.1}, {0.776, 0.1}, 0.0, 15.0);
  CHECK(bow.lat_deg.value == doctest::Approx(-3.000).epsilon(0.0005));
  CHECK(std::abs(bow.vert_deg.value) < 0.001);
  // Equal and independent errors stay so under any rotation.
  CHECK(bow.lat_deg.u95 == doctest::Approx(0.1));
  CHECK(bow.vert_deg.u95 == doctest::Approx(0.1));
  CHECK(std::abs(bow.correlation) < 1e-9);
}

TEST_CASE("reference: the contract's forward formula is inverted over a grid") {
  for (double cant_deg = -90.0; cant_deg <= 90.0; cant_deg += 15.0) {
    const double c = cant_deg * std::numbers::pi / 180.0;
    for (const double lat : {-3.0, -0.4, 2.0}) {
      for (const double vert : {-1.5, 0.0, 4.0}) {
        const Measured right{lat * std::cos(c) + vert * std::sin(c), 0.3};
        const Measured high{-lat * std::sin(c) + vert * std::cos(c), 0.8};
        const BowFrameReading bow = bow_frame_from_range(right, high, 0.3, cant_deg);
        CHECK(bow.lat_deg.value == doctest::Approx(lat).scale(1.0));
        CHECK(bow.vert_deg.value == doctest::Approx(vert).scale(1.0));
      }
    }
  }
}

TEST_CASE("reference: correlated errors add by the law of propagation") {
  // JCGM 100:2008, equation (13): u(y)^2 = sum c_i^2 u_i^2 + 2 c_1 c_2 u_1 u_2 r, written out here
  // for lat = right cos c - high sin c and vert = right sin c + high cos c.
  const double c = 20.0 * std::numbers::pi / 180.0;
  const double ur = 0.3;
  const double uh = 0.9;
  const double r = 0.6;
  const BowFrameReading bow = bow_frame_from_range({-2.0, ur}, {0.5, uh}, r, 20.0);
  const double cross = 2.0 * std::cos(c) * std::sin(c) * ur * uh * r;
  CHECK(bow.lat_deg.u95 == doctest::Approx(std::sqrt(std::pow(std::cos(c) * ur, 2) +
                                                     std::pow(std::sin(c) * uh, 2) - cross)));
  CHECK(bow.vert_deg.u95 == doctest::Approx(std::sqrt(std::pow(std::sin(c) * ur, 2) +
                                                      std::pow(std::cos(c) * uh, 2) + cross)));
}

TEST_CASE("unit: a rotation there and back leaves spread and correlation as they were") {
  const BowFrameReading there = bow_frame_from_range({-2.0, 0.3}, {0.5, 0.9}, 0.6, 25.0);
  const BowFrameReading back =
      bow_frame_from_range(there.lat_deg, there.vert_deg, there.correlation, -25.0);
  CHECK(back.lat_deg.value == doctest::Approx(-2.0));
  CHECK(back.vert_deg.value == doctest::Approx(0.5));
  CHECK(back.lat_deg.u95 == doctest::Approx(0.3));
  CHECK(back.vert_deg.u95 == doctest::Approx(0.9));
  CHECK(back.correlation == doctest::Approx(0.6));
}

TEST_CASE("unit: a cant with total correlation never gives a spread that is not a number") {
  const BowFrameReading bow = bow_frame_from_range({1.0, 0.5}, {1.0, 0.5}, 1.0, 45.0);
  CHECK(std::isfinite(bow.lat_deg.u95));
  CHECK(bow.lat_deg.u95 < 1e-6);
  CHECK(bow.vert_deg.u95 == doctest::Approx(0.5 * std::numbers::sqrt2));
}

TEST_CASE("unit: the whole interval decides the side") {
  CHECK(side_of({-2.4, 0.2}, 0.5) == Side::negative);
  CHECK(side_of({2.4, 0.2}, 0.5) == Side::positive);
  CHECK(side_of({0.1, 0.2}, 0.5) == Side::straight);
  CHECK(side_of({0.4, 0.2}, 0.5) == Side::unclear);
  CHECK(side_of({-0.6, 0.2}, 0.5) == Side::unclear);
  CHECK(side_of({0.0, 0.6}, 0.5) == Side::unclear);
  CHECK(side_of({-2.4, 2.0}, 0.5) == Side::unclear);
  CHECK(side_of({-2.4, 2.0}, 0.2) == Side::negative);
  CHECK(side_of({std::nan(""), 0.1}, 0.5) == Side::unclear);
  CHECK(side_of({3.0, std::numeric_limits<double>::infinity()}, 0.5) == Side::unclear);
}

TEST_CASE("unit: verdicts for either hand") {
  // Common practice for a finger release, no source: right-handed nock left is weak, nock right
  // stiff; left-handed mirrored.
  struct Row {
    double lat;
    double u95;
    SpineVerdict right_handed;
    SpineVerdict left_handed;
  };
  const std::vector<Row> table{
      {-2.4, 0.2, SpineVerdict::weak, SpineVerdict::stiff},
      {2.4, 0.2, SpineVerdict::stiff, SpineVerdict::weak},
      {0.1, 0.2, SpineVerdict::matched, SpineVerdict::matched},
      {-0.6, 0.3, SpineVerdict::unclear, SpineVerdict::unclear},
      {0.3, 1.2, SpineVerdict::unclear, SpineVerdict::unclear},
  };
  for (const Row& row : table) {
    CAPTURE(row.lat);
    const Measured lat{row.lat, row.u95};
    CHECK(judge(lat, kLevel, archer(Hand::right)).spine == row.right_handed);
    CHECK(judge(lat, kLevel, archer(Hand::left)).spine == row.left_handed);
    CHECK(judge(lat, kLevel, archer(Hand::unknown)).spine == SpineVerdict::unclear);
    // Mirror the offset and the hand together: the same verdict.
    CHECK(judge({-row.lat, row.u95}, kLevel, archer(Hand::left)).spine == row.right_handed);
  }
}

TEST_CASE("unit: nocking point verdicts do not depend on the hand") {
  for (const Hand hand : {Hand::unknown, Hand::right, Hand::left}) {
    CHECK(judge(kLevel, {1.5, 0.4}, archer(hand)).nocking_point == NockingPointVerdict::high);
    CHECK(judge(kLevel, {-1.5, 0.4}, archer(hand)).nocking_point == NockingPointVerdict::low);
    CHECK(judge(kLevel, {0.1, 0.3}, archer(hand)).nocking_point == NockingPointVerdict::level);
    CHECK(judge(kLevel, {0.8, 0.6}, archer(hand)).nocking_point == NockingPointVerdict::unclear);
  }
}

TEST_CASE("unit: without the hand the summary speaks for both") {
  const Verdict left = judge({-2.4, 0.2}, kLevel, archer(Hand::unknown));
  CHECK(says(left.summary, "weak for a right-handed archer and stiff for a left-handed one"));
  const Verdict right = judge({2.4, 0.2}, kLevel, archer(Hand::unknown));
  CHECK(says(right.summary, "stiff for a right-handed archer and weak for a left-handed one"));
}

TEST_CASE("unit: an unclear reading names its lean and what would settle it") {
  const Verdict v = judge({-0.6, 0.3}, {0.9, 0.7}, archer(Hand::right));
  CHECK(says(v.summary, "leans weak"));
  CHECK(says(v.summary, "leans high"));
  CHECK(says(v.summary, "several shots would settle it"));
  CHECK(says(judge({0.6, 0.3}, kLevel, archer(Hand::right)).summary, "leans stiff"));
  CHECK(says(judge({0.6, 0.3}, kLevel, archer(Hand::left)).summary, "leans weak"));
  CHECK(says(judge({0.1, 0.9}, kLevel, archer(Hand::left)).summary, "leans matched"));
}

TEST_CASE("unit: a summary is one sentence") {
  for (const double lat : {-3.0, -0.6, 0.0, 0.7, 3.0}) {
    for (const double vert : {-3.0, -0.6, 0.0, 0.7, 3.0}) {
      for (const Hand hand : {Hand::unknown, Hand::right, Hand::left}) {
        const std::string s = judge({lat, 0.3}, {vert, 0.3}, archer(hand)).summary;
        CAPTURE(s);
        CHECK(s.back() == '.');
        CHECK(s.find(". ") == std::string::npos);
        CHECK(s.find('\n') == std::string::npos);
      }
    }
  }
}

// What the next shot shares turns with the bow like the rest; of the cant it is all where it was
// told, for the next shot is told the same.
TEST_CASE("unit: the shared part of the errors is turned into the frame of the bow") {
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = Measured{-2.0, 0.5};
  shot.nock_high_deg = Measured{1.0, 0.8};
  shot.shared = SharedError{0.3, 0.4, 0.0};
  JudgeOptions canted = archer(Hand::right);
  canted.cant_deg = 90.0;
  judge_shot(shot, canted);
  REQUIRE(shot.in_bow->shared);
  // A quarter turn: what was up and down is sideways; the cant's 3 deg of 1 and 2 deg with it.
  const double turned = 1.96 * 3.0 * 3.14159265 / 180.0;
  CHECK(shot.in_bow->shared->right_u95_deg ==
        doctest::Approx(std::hypot(0.4, 2.0 * turned)).epsilon(0.01));
  CHECK(shot.in_bow->shared->high_u95_deg ==
        doctest::Approx(std::hypot(0.3, 1.0 * turned)).epsilon(0.01));
  shot.cant_seen_deg = Measured{90.0, 3.0};
  canted.cant_deg.reset();
  judge_shot(shot, canted);
  CHECK(shot.in_bow->shared->right_u95_deg == doctest::Approx(0.4).epsilon(1e-6));
}

TEST_CASE("unit: a shot is judged in the frame of its bow") {
  Shot shot;
  shot.status = ShotStatus::measured;
  // A weak reading at cant +15 deg as the camera sees it (the contract's example): nock left and
  // high. Upright it would look like a nocking point too high; canted it is spine alone.
  shot.nock_right_deg = Measured{-2.898, 0.1};
  shot.nock_high_deg = Measured{0.776, 0.1};
  JudgeOptions upright = archer(Hand::right);
  upright.cant_deg = 0.0;
  judge_shot(shot, upright);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::unclear);
  CHECK(shot.in_bow->nock_high_deg.value == doctest::Approx(0.776));

  // Nobody told: the wide prior leaves the nocking point open, and spine is said all the same.
  judge_shot(shot, archer(Hand::right));
  REQUIRE(shot.bow);
  CHECK(shot.bow->source == BowSource::assumed);
  REQUIRE(shot.in_bow);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::unclear);
  CHECK(shot.verdict.spine == SpineVerdict::weak);
  CHECK(shot.verdict.step == StepKind::tell_cant);

  JudgeOptions canted = archer(Hand::right);
  canted.cant_deg = 15.0;
  judge_shot(shot, canted);
  REQUIRE(shot.in_bow);
  CHECK(shot.in_bow->cant_deg == 15.0);
  CHECK(shot.in_bow->nock_right_deg.value == doctest::Approx(-3.0).epsilon(0.001));
  CHECK(shot.verdict.spine == SpineVerdict::weak);
  CHECK(shot.bow->source == BowSource::told);
  // 3 deg sideways at a cant told by eye, 3 deg one sigma: 0.3 deg of up and down are its own.
  CHECK(shot.in_bow->nock_high_deg.u95 > 0.3);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::level);

  // Mirrored in every respect: hand, sides and cant.
  Shot mirrored = shot;
  mirrored.nock_right_deg->value = 2.898;
  JudgeOptions other = archer(Hand::left);
  other.cant_deg = -15.0;
  judge_shot(mirrored, other);
  CHECK(mirrored.verdict.spine == SpineVerdict::weak);
  CHECK(mirrored.verdict.nocking_point == NockingPointVerdict::level);
}

TEST_CASE("unit: a cant that the picture shows is used where none was told, and checks the told") {
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = Measured{-2.898, 0.1};  // the contract's example, weak at +15 deg
  shot.nock_high_deg = Measured{0.776, 0.1};
  shot.cant_seen_deg = Measured{15.0, 2.5};
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.bow->source == BowSource::seen);
  CHECK(shot.in_bow->nock_right_deg.value == doctest::Approx(-3.0).epsilon(0.001));
  CHECK(shot.verdict.spine == SpineVerdict::weak);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::level);

  const auto says_at_odds = [](const Shot& judged) {
    return std::any_of(
        judged.verdict.cautions.begin(), judged.verdict.cautions.end(),
        [](const std::string& caution) { return says(caution, "not what the picture shows"); });
  };
  JudgeOptions told = archer(Hand::right);
  told.cant_deg = 12.0;
  judge_shot(shot, told);
  CHECK(shot.bow->source == BowSource::told);
  CHECK(shot.bow->cant_deg.value == 12.0);
  CHECK_FALSE(says_at_odds(shot));
  told.cant_deg = -15.0;  // the sign slipped
  judge_shot(shot, told);
  CHECK(shot.bow->cant_deg.value == -15.0);
  CHECK(says_at_odds(shot));
  CHECK(shot.verdict.spine == SpineVerdict::weak);  // by either cant
  // High by the one told, level by the one in the picture: nothing is moved on the word of either.
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::unclear);
  CHECK(says(shot.verdict.summary, "by the one in the picture"));
  CHECK(shot.verdict.step == StepKind::tell_cant);
  // Told to the usual side, seen to the other: the hand may be wrong, or the picture mirrored.
  shot.cant_seen_deg = Measured{-18.0, 2.5};
  told.cant_deg = 15.0;
  judge_shot(shot, told);
  CHECK(says_at_odds(shot));
  CHECK(shot.verdict.spine == SpineVerdict::unclear);
  CHECK(shot.verdict.step == StepKind::tell_hand);
}

TEST_CASE("unit: a shot refused because it stands across its flight forbids the arrow") {
  Shot shot;
  shot.status = ShotStatus::refused;
  shot.reason = std::string("the arrow seems to stand 31 deg ") + kAcrossItsFlight;
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.verdict.step == StepKind::do_not_shoot_arrow);
  shot.reason = "too dark";
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.verdict.step == StepKind::none);
}

TEST_CASE("unit: where the bow leans against the hand told, spine waits for the hand") {
  // As a mirrored picture has it: what was left is right, and the upper limb leans left.
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = Measured{2.898, 0.1};
  shot.nock_high_deg = Measured{0.776, 0.1};
  shot.cant_seen_deg = Measured{-15.0, 2.5};
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.bow->hand == Hand::right);
  CHECK(shot.nock_right_deg->value == 2.898);  // the angles stay as the picture shows them
  CHECK(shot.verdict.spine == SpineVerdict::unclear);
  CHECK(shot.verdict.step == StepKind::tell_hand);
  CHECK(says(shot.verdict.next_step, "mirrored"));
  CHECK(says(shot.verdict.summary, "hand told and the lean of the bow do not go together"));
  CHECK_FALSE(says(shot.verdict.summary, "without the archer's hand"));
  // The other hand, or a cant that was told so, settles it.
  judge_shot(shot, archer(Hand::left));
  CHECK(shot.verdict.spine == SpineVerdict::weak);
  JudgeOptions sure = archer(Hand::right);
  sure.cant_deg = -15.0;
  judge_shot(shot, sure);
  CHECK(shot.verdict.spine == SpineVerdict::stiff);
  // Upright within its interval, it speaks against nobody.
  shot.cant_seen_deg = Measured{-1.5, 2.5};
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.verdict.spine == SpineVerdict::stiff);
}

TEST_CASE("unit: a refused shot gets its reason and no advice") {
  Shot shot;
  shot.status = ShotStatus::refused;
  shot.reason = "Only two frames show the arrow in flight.";
  shot.nock_right_deg = Measured{-5.0, 2.0};
  shot.nock_high_deg = Measured{0.0, 2.0};
  judge_shot(shot, archer(Hand::right));
  CHECK(shot.verdict.spine == SpineVerdict::unclear);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::unclear);
  CHECK(says(shot.verdict.summary, "Only two frames"));
  CHECK(shot.verdict.next_step.empty());
  CHECK(shot.verdict.cautions.empty());
}

TEST_CASE("fault: offsets that are no numbers are not judged") {
  const Verdict v = judge({std::nan(""), 0.1}, {0.1, std::nan("")}, archer(Hand::right));
  CHECK(v.spine == SpineVerdict::unclear);
  CHECK(v.next_step.empty());
  CHECK_FALSE(says(v.summary, "nan"));
}

TEST_CASE("rules: a shot from the side says nothing of spine, and of the nock what it can") {
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.view = View::side;
  shot.nock_high_deg = Measured{1.6, 0.2};
  JudgeOptions upright = archer(Hand::right);
  upright.cant_deg = 0.0;
  judge_shot(shot, upright);
  CHECK(shot.verdict.spine == SpineVerdict::unclear);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::high);
  CHECK(says(shot.verdict.summary, "nothing of spine"));
  CHECK(shot.verdict.step == StepKind::film_more);
  CHECK_FALSE(shot.in_bow);
  // A canted bow turns an offset to the side, of which nothing was seen, into one up or down.
  JudgeOptions canted = archer(Hand::right);
  canted.cant_deg = 25.0;
  judge_shot(shot, canted);
  CHECK(shot.verdict.nocking_point == NockingPointVerdict::unclear);
  CHECK(says(shot.verdict.summary, "hangs on the offset to the side"));
  // Beyond what a shaft may be shot with again it is forbidden, as from behind.
  Shot far = shot;
  far.nock_high_deg = Measured{12.1, 0.3};
  judge_shot(far, upright);
  CHECK(far.verdict.step == StepKind::do_not_shoot_arrow);
  CHECK(says(far.verdict.next_step, "Do not shoot this arrow"));
  // Nobody stands beside the arrow's way.
  CHECK(
      std::any_of(shot.verdict.cautions.begin(), shot.verdict.cautions.end(),
                  [](const std::string& c) { return says(c, "Nobody beside the arrow's path"); }));
}
