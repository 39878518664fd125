// Nothing is cut, built or called done on figures that do not go together: set-ups that are alike
// on paper and read differently, a trim that was written down wrongly, a shot that still forbids.
// Common practice, no source; the shots are made up.
#include <doctest/doctest.h>

#include <vector>

#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

SetupRecord one_far(SetupRecord record) {
  record.clips.back().reading.shots.front().nock_right_deg->value = -8.6;
  return record;
}

bool is_cut_or_built(const SessionJudgement& judgement) {
  return judgement.next.kind == StepKind::trim_shaft || judgement.next.kind == StepKind::done ||
         judgement.build_sheet.has_value();
}

}  // namespace

TEST_CASE("rules: alike set-ups that read differently cut nothing and finish nothing") {
  // Two trims that nobody wrote down: the shaft is straight by now.
  const SessionJudgement trimmed = judged({setup("1", facts(32.0), -3.0, 0.05, 6, 0.2),
                                           setup("2", facts(32.0), -1.5, 0.05, 6, 0.2),
                                           setup("3", facts(32.0), 0.0, 0.05, 6, 0.2)});
  CAPTURE(trimmed.next.words);
  CHECK_FALSE(is_cut_or_built(trimmed));
  CHECK(trimmed.next.kind == StepKind::film_more);
  CHECK(contains(trimmed.next.words, "the shaft's length"));
  // Weak by 3 deg and stiff by 3: straight in the mean, and never straight.
  for (const double first_deg : {-3.0, 3.0}) {
    for (const int shots : {6, 12}) {
      const SessionJudgement judgement =
          judged({setup("f", fletched(facts()), 0.4, 0.05, 12, 0.2),
                  setup("1", facts(), first_deg, 0.05, shots, 0.2),
                  setup("2", facts(), -first_deg, 0.05, shots, 0.2)});
      CAPTURE(judgement.next.words);
      CHECK_FALSE(is_cut_or_built(judgement));
      const SessionJudgement fletched_last =
          judged({setup("1", facts(), first_deg, 0.05, shots, 0.2),
                  setup("2", facts(), -first_deg, 0.05, shots, 0.2),
                  setup("f", fletched(facts()), 0.4, 0.05, 12, 0.2)});
      CHECK_FALSE(is_cut_or_built(fletched_last));
    }
  }
}

TEST_CASE("rules: a trim that was told by half, or the wrong way, leads to no cut") {
  for (const double then_in : {31.9375, 32.25}) {
    const SessionJudgement judgement = judged({setup("1", facts(32.0), -4.0, 0.05, 6, 0.2),
                                               setup("2", facts(then_in), 0.0, 0.05, 6, 0.2)});
    CAPTURE(judgement.next.words);
    CHECK_FALSE(is_cut_or_built(judgement));
    CHECK(judgement.next.kind == StepKind::tell_facts);
  }
}

TEST_CASE("rules: feathers and another folder do not lift what one bare shot forbids") {
  const SetupRecord far = one_far(setup("1", facts(), 0.0, 0.05, 6, 0.2));
  const SetupRecord again = setup("2", facts(), 0.0, 0.05, 24, 0.2);
  const SetupRecord feathered = setup("f", fletched(facts()), 0.4, 0.05, 12, 0.2);
  const SessionJudgement judgement = judged({far, again, feathered});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
  CHECK_FALSE(judgement.build_sheet.has_value());
  // Without that shot it is done.
  CHECK(judged({again, feathered}).next.kind == StepKind::done);
}

TEST_CASE("rules: no set is built past a limit of the finished arrow's own set-up") {
  SetupFacts heavy_wanted = fletched(facts());
  heavy_wanted.arrow.total_mass_kg = 411.0 * kGrain;
  heavy_wanted.bow.min_grains_per_pound = 9.5;  // 428 gr at 45 lb
  SetupFacts bare = facts();
  bare.arrow.total_mass_kg = 391.0 * kGrain;
  bare.bow.min_grains_per_pound = 8.0;
  const SessionJudgement judgement =
      judged({setup("f", heavy_wanted, 0.4, 0.05, 12, 0.2), setup("b", bare, 0.05, 0.05, 24, 0.2)});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
  CHECK_FALSE(judgement.build_sheet.has_value());
}

TEST_CASE("rules: no set is built to a shaft that its own sheet would call too short") {
  const SetupFacts short_one = facts(26.5);  // 28 in drawn: half an inch past the rest is 26 3/4
  const SessionJudgement judgement = judged({setup("b", short_one, 0.05, 0.05, 24, 0.2),
                                             setup("f", fletched(short_one), 0.4, 0.05, 12, 0.2)});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::stiffer_shaft);
  CHECK_FALSE(judgement.build_sheet.has_value());
}

TEST_CASE("rules: one shot among many that say otherwise forbids, and does not say weak or stiff") {
  const SessionJudgement judgement = judged({one_far(setup("1", facts(), 0.0, 0.05, 14, 0.2))});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
  CHECK(contains(judgement.next.words, "look for the cause"));
  CHECK_FALSE(contains(judgement.next.words, "acts weak"));
}

TEST_CASE("rules: small or large letters of a bow's name make no other bow") {
  SetupFacts small = fletched(facts());
  small.bow.name = "ash STAVE ";
  small.bow.string = "b of 12 Strands";
  CHECK(judged({setup("b", facts(), 0.05, 0.05, 24, 0.2), setup("f", small, 0.4, 0.05, 12, 0.2)})
            .next.kind == StepKind::done);
}

TEST_CASE("rules: one bow and two hands: which is right comes before any change") {
  SetupFacts left = facts();
  left.hand = Hand::left;
  left.bow.name = "Elm";
  SetupFacts right = facts();
  right.bow.name = "elm ";
  const SessionJudgement judgement =
      judged({setup("1", right, -3.0, 0.05, 6, 0.2), setup("2", left, -3.0, 0.05, 6, 0.2)});
  CHECK(judgement.next.kind == StepKind::tell_hand);
  CHECK(contains(judgement.next.words, "1 is told as right-handed and 2 as left-handed"));
  // Of two bows each has its hand.
  right.bow.name = "Ash";
  CHECK(judged({setup("1", right, -3.0, 0.05, 6, 0.2), setup("2", left, -3.0, 0.05, 6, 0.2)})
            .next.kind != StepKind::tell_hand);
  // What forbids comes first all the same.
  left.bow.name = "Ash";
  CHECK(forbids(
      judged({setup("1", right, -3.0, 0.05, 6, 0.2), one_far(setup("2", left, -3.0, 0.05, 6, 0.2))})
          .next.kind));
}
