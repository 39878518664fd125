// What is advised, and in which order, is common practice of the trade without an authoritative
// source: form and group, nocking point, spine, brace height.
#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "nocktrail/rules/rules.hpp"

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

Verdict judged(Measured lat, Measured vert, Hand hand) {
  JudgeOptions options;
  options.hand = hand;
  return judge(lat, vert, options);
}

const Measured kStraight{0.0, 0.2};
const Measured kLeft{-2.4, 0.2};
const Measured kRight{2.4, 0.2};

}  // namespace

TEST_CASE("unit: several shots come before any change") {
  for (const Measured& lat : {kLeft, kStraight, kRight}) {
    for (const Measured& vert : {Measured{-2.0, 0.3}, kStraight, Measured{2.0, 0.3}}) {
      const Verdict v = judged(lat, vert, Hand::right);
      CHECK(v.next_step.starts_with("First film at least three more shots"));
      CHECK(warns(v, "Local range rules override"));
      CHECK(warns(v, "Nobody downrange"));
    }
  }
}

TEST_CASE("unit: the nocking point comes before spine") {
  const Verdict high = judged(kLeft, {2.0, 0.3}, Hand::right);
  CHECK(high.spine == SpineVerdict::weak);
  CHECK(says(high.next_step, "down 1/16 in"));
  CHECK_FALSE(says(high.next_step, "trim"));
  const Verdict low = judged(kLeft, {-2.0, 0.3}, Hand::right);
  CHECK(says(low.next_step, "up 1/16 in"));
  CHECK_FALSE(says(low.next_step, "trim"));
  const Verdict open = judged(kLeft, {0.9, 0.7}, Hand::right);
  CHECK(says(open.next_step, "nocking point comes before spine"));
  CHECK_FALSE(says(open.next_step, "trim"));
}

TEST_CASE("unit: nock high tells how to know the bounce from too high") {
  const Verdict v = judged(kStraight, {2.0, 0.3}, Hand::right);
  CHECK(says(v.summary, "too high or, by a bounce off the shelf, too low"));
  CHECK(says(v.next_step, "if it shrinks"));
  CHECK(says(v.next_step, "bouncing off the shelf, so go back up"));
}

TEST_CASE("unit: weak asks for what can be undone first, and guards every cut") {
  const Verdict v = judged(kLeft, kStraight, Hand::right);
  CHECK(v.next_step.find("lighter tip") < v.next_step.find("trimmed"));
  CHECK(says(v.next_step, "at most 1/4 in"));
  CHECK(says(v.next_step, "cannot be undone"));
  CHECK(says(v.next_step, "over several shots"));
  CHECK(warns(v, "5 grains per pound"));
  CHECK(warns(v, "bow maker's limits"));
  CHECK(warns(v, "drawn past the rest"));
  CHECK(warns(v, "respirator"));
  CHECK(warns(v, "too weak can break"));
}

TEST_CASE("unit: stiff never asks for a cut") {
  const Verdict v = judged(kRight, kStraight, Hand::right);
  CHECK(says(v.next_step, "heavier tip"));
  CHECK(says(v.next_step, "weaker shaft"));
  CHECK(says(v.next_step, "Do not trim"));
  CHECK_FALSE(says(v.next_step, "at most 1/4 in"));
  CHECK_FALSE(warns(v, "respirator"));
}

TEST_CASE("unit: the way the nock must then move is mirrored with the hand") {
  // A change towards stiff moves a right-handed archer's nock from left to right.
  CHECK(says(judged(kLeft, kStraight, Hand::right).next_step, "must move to the right"));
  CHECK(says(judged(kRight, kStraight, Hand::left).next_step, "must move to the left"));
  CHECK(says(judged(kRight, kStraight, Hand::right).next_step, "must move to the left"));
  CHECK(says(judged(kLeft, kStraight, Hand::left).next_step, "must move to the right"));
}

TEST_CASE("unit: no reading that is unclear leads to a cut") {
  for (double value = -2.0; value <= 2.0; value += 0.25) {
    const Measured lat{value, 1.6};
    for (const Hand hand : {Hand::unknown, Hand::right, Hand::left}) {
      const Verdict v = judged(lat, kStraight, hand);
      REQUIRE(v.spine == SpineVerdict::unclear);
      CHECK_FALSE(says(v.next_step, "1/4 in"));
      CHECK_FALSE(says(v.next_step, "lighter tip"));
    }
  }
}

TEST_CASE("unit: brace height is left for last") {
  CHECK(says(judged(kStraight, kStraight, Hand::right).next_step, "brace height"));
  CHECK_FALSE(says(judged(kLeft, kStraight, Hand::right).next_step, "brace height"));
}

TEST_CASE("unit: a bad mismatch brings its own caution") {
  CHECK(warns(judged({-4.0, 0.3}, kStraight, Hand::right), "glance off"));
  CHECK_FALSE(warns(judged({-1.0, 0.3}, kStraight, Hand::right), "glance off"));
}

TEST_CASE("unit: without the hand the step asks for it") {
  CHECK(says(judged(kLeft, kStraight, Hand::unknown).next_step, "right- or left-handed"));
}
