// Words, facts and folders do not make an arrow safe: a stop stays until the danger is mended, and
// nothing is built, cut or moved on what does not bear it. Common practice, no source, but where a
// figure says otherwise.
#include <doctest/doctest.h>

#include <string>
#include <utility>
#include <vector>

#include "nocktrail/rules/safety.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

// A set-up of which one shot alone trails so far sideways.
SetupRecord with_one_at(SetupRecord record, double lat_deg) {
  record.clips.back().reading.shots.front().nock_right_deg->value = lat_deg;
  return record;
}

SetupRecord across(const std::string& name, const SetupFacts& facts) {
  SetupRecord record = setup(name, facts, 0.0, 0.0, 1);
  Reading& reading = record.clips.front().reading;
  reading.status = ClipStatus::refused;
  Shot& shot = reading.shots.front();
  shot.status = ShotStatus::refused;
  shot.reason = std::string("the arrow stands ") + rules::kAcrossItsFlight;
  shot.nock_right_deg.reset();
  shot.nock_high_deg.reset();
  return record;
}

}  // namespace

TEST_CASE("rules: an arrow that only heavy feathers make heavy enough is weighed, not built") {
  SetupFacts light = facts();
  light.bow.min_grains_per_pound = 8.5;  // 382.5 gr at 45 lb; its parts come to 383 - 8 gr
  light.arrow.tip_mass_kg = 117.0 * kGrain;
  light.arrow.fletching = Fletching::fletched;
  const SessionJudgement judgement = judged({setup("01", light, 0.0, 0.05, 24, 0.2)});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::tell_facts);
  CHECK(contains(judgement.next.words, "weighed"));
  CHECK_FALSE(judgement.build_sheet);
  // Weighed with its feathers, it is what it is.
  light.arrow.total_mass_kg = 390.0 * kGrain;
  CHECK(judged({setup("01", light, 0.0, 0.05, 24, 0.2)}).next.kind != StepKind::tell_facts);
}

TEST_CASE("rules: no set is built to an arrow of which one shot that counts forbids it") {
  const SetupRecord bare = setup("01 bare", facts(), 0.05, 0.05, 24, 0.2);
  const SetupRecord feathered = setup("02 fletched", fletched(facts()), 0.4, 0.05, 24, 0.2);
  REQUIRE(judged({bare, feathered}).next.kind == StepKind::done);
  CHECK(judged({bare, with_one_at(feathered, 13.0)}).next.kind == StepKind::do_not_shoot_arrow);
  CHECK(judged({with_one_at(bare, -9.0), feathered}).next.kind == StepKind::do_not_shoot_arrow);
  // Whichever was shot last.
  CHECK(judged({with_one_at(feathered, 13.0), bare}).next.kind == StepKind::do_not_shoot_arrow);
}

TEST_CASE("rules: an arrow across its flight is not shot again by way of another folder") {
  SetupFacts noted = facts();
  CHECK(judged({across("01", facts()), setup("02", noted, 0.0, 0.0, 0)}).next.kind ==
        StepKind::do_not_shoot_arrow);
  CHECK(judged({across("01", facts()), setup("02", noted, -3.0, 0.0, 4)}).next.kind ==
        StepKind::do_not_shoot_arrow);
  // Something was changed, and it flies.
  noted.bow.nocking_point_m = 0.625 * kInch;
  CHECK(judged({across("01", facts()), setup("02", noted, -3.0, 0.0, 4)}).next.kind !=
        StepKind::do_not_shoot_arrow);
  SetupFacts others = facts();
  others.arrow.name = "others";
  CHECK(judged({across("01", facts()), setup("02", others, 0.0, 0.0, 0)}).next.kind ==
        StepKind::film_more);
}

// Feathers hide up to 4 deg (docs/arrow-model.md): 17 deg bare are 13 fletched, past the 12 that
// stop a fletched arrow.
TEST_CASE("rules: what trails very far bare is not sent to be shot with feathers") {
  for (const auto& [bare_deg, kind] :
       {std::pair(-17.0, StepKind::do_not_shoot_arrow), std::pair(-10.0, StepKind::film_more)}) {
    const double trailed_deg = bare_deg;  // clang 14 captures no structured binding
    CAPTURE(trailed_deg);
    CHECK(judged({setup("01", facts(), bare_deg, 0.1, 4, 0.1),
                  setup("02", fletched(facts()), 0.0, 0.0, 0)})
              .next.kind == kind);
  }
  // Whether it was bare was not told: it may have been fletched.
  SetupFacts untold = facts();
  untold.arrow.fletching = Fletching::unknown;
  CHECK(
      judged({setup("01", untold, -13.0, 0.1, 4, 0.1), setup("02", fletched(facts()), 0.0, 0.0, 0)})
          .next.kind == StepKind::do_not_shoot_arrow);
}

TEST_CASE("rules: to tell a name or a fact mends nothing") {
  const auto then = [](void (*before)(SetupFacts&), void (*after)(SetupFacts&), int count) {
    SetupFacts first = facts();
    before(first);
    SetupFacts second = first;
    after(second);
    return judged({with_one_at(setup("01", first, -7.2, 0.1, 4, 0.1), -8.6),
                   setup("02", second, -7.2, 0.1, count, 0.1)})
        .next.kind;
  };
  const auto nothing = [](SetupFacts&) {};
  for (const int count : {0, 4}) {
    CAPTURE(count);
    CHECK(then([](SetupFacts& f) { f.bow.string.clear(); },
               [](SetupFacts& f) { f.bow.string = "14 strands"; },
               count) == StepKind::do_not_shoot_arrow);
    CHECK(then([](SetupFacts& f) { f.bow.brace_height_m.reset(); },
               [](SetupFacts& f) { f.bow.brace_height_m = 7.25 * kInch; },
               count) == StepKind::do_not_shoot_arrow);
    CHECK(then([](SetupFacts& f) { f.arrow.spine.reset(); },
               [](SetupFacts& f) { f.arrow.name = "Tube "; },
               count) == StepKind::do_not_shoot_arrow);
    CHECK(then(
              [](SetupFacts& f) {
                f.arrow.spine.reset();
                f.arrow.name.clear();
              },
              [](SetupFacts& f) { f.arrow.name = "heron"; },
              count) == StepKind::do_not_shoot_arrow);
  }
  CHECK(then(nothing, nothing, 4) == StepKind::do_not_shoot_arrow);
}

TEST_CASE("rules: a change that goes as far past straight does not lift the stop") {
  SetupFacts noodle = facts();
  noodle.arrow.spine = SpineTold{SpineConvention::deflection_in, 1.5};
  const Step next =
      judged({setup("01", facts(), 9.0, 0.1, 4, 0.1), setup("02", noodle, 0, 0, 0)}).next;
  CHECK(next.kind == StepKind::do_not_shoot_arrow);
  CHECK(contains(next.because, "on the other side"));
}

TEST_CASE("rules: weak or stiff is said by the hand that shot it") {
  SetupFacts left = facts();
  left.hand = Hand::left;
  const Step next =
      judged({setup("01", facts(), -9.5, 0.1, 4, 0.1), setup("02", left, 0, 0, 0)}).next;
  REQUIRE(next.kind == StepKind::do_not_shoot_arrow);
  CHECK_FALSE(contains(next.words, "acts stiff"));
}

TEST_CASE("rules: weaker shafts are lighter, and that is said with the least that is allowed") {
  SetupFacts heavy_bow = fletched(facts());
  heavy_bow.bow.min_grains_per_pound = 8.6;
  const Step next = judged({setup("01", heavy_bow, 9.4, 0.1)}).next;
  REQUIRE(next.kind == StepKind::weaker_shaft);
  CHECK(contains(next.words, "387 gr or more"));  // 8.6 gr for each of 45 lb
  CHECK_FALSE(contains(next.because, "weak shaft"));
  // Bare it is a stop, which names other shafts, too.
  SetupFacts bare = facts();
  bare.bow.min_grains_per_pound = 8.0;
  const Step stop = judged({setup("01", bare, 9.4, 0.1, 4, 0.1)}).next;
  REQUIRE(stop.kind == StepKind::do_not_shoot_arrow);
  CHECK(contains(stop.words, "weaker ones"));
  CHECK(contains(stop.words, "360 gr or more"));
}

TEST_CASE("rules: a shaft more likely straight than not is not cut") {
  SetupFacts light_tip = facts(29.5);
  light_tip.arrow.tip_mass_kg = 60.0 * kGrain;
  for (const double lat_deg : {-0.3, -0.45}) {
    CAPTURE(lat_deg);
    CHECK(judged({setup("01", light_tip, lat_deg, 0.0, 12, 0.1)}).next.kind !=
          StepKind::trim_shaft);
  }
}

TEST_CASE("rules: what is accepted in writing has a bound") {
  SetupFacts accepted = facts();
  accepted.accepted_nock_height = "fine";
  const Step next = judged({setup("01", accepted, 0.0, 4.2, 24, 0.1)}).next;
  CAPTURE(next.words);
  CAPTURE(next.because);
  CHECK(next.kind == StepKind::look_for_cause);
  CHECK(judged({setup("01", accepted, 0.05, 1.5, 24, 0.2)}).next.kind != StepKind::look_for_cause);
}
