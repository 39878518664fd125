// What must not be shot stays so whatever is changed or left untold about it.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "nocktrail/rules/safety.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

// A finished tune: bare straight and level, then fletched.
std::vector<SetupRecord> finished(const SetupFacts& facts) {
  return {setup("01 bare", facts, 0.05, 0.05, 24, 0.2),
          setup("02 fletched", fletched(facts), 0.4, 0.05, 24, 0.2)};
}

}  // namespace

TEST_CASE("rules: a shaft that trailed too far bare is not sent to be shot bare again") {
  const SetupRecord bare = setup("01", facts(), -9.0, 0.1);
  REQUIRE(judged({bare}).next.kind == StepKind::do_not_shoot_arrow);
  // Fletched it leaves well enough; what is advised is other shafts, never this one bare.
  for (const double fletched_deg : {-3.5, -0.2, 0.3}) {
    const Step next = judged({bare, setup("02", fletched(facts()), fletched_deg, 0.1)}).next;
    CAPTURE(next.words);
    CHECK(next.kind == StepKind::stiffer_shaft);
    CHECK(contains(next.words, "Do not shoot this shaft bare"));
  }
}

// Right-handed, a nock to the left is a weak shaft (common practice, no source); left-handed it is
// the other way.
TEST_CASE("rules: what to shoot in place of a shaft that trailed too far goes the right way") {
  for (const Hand hand : {Hand::right, Hand::left, Hand::unknown}) {
    for (const double lateral_deg : {-9.0, 9.0}) {
      SetupFacts told = facts();
      told.hand = hand;
      const Step next = judged({setup("01", told, lateral_deg, 0.1)}).next;
      CAPTURE(next.words);
      REQUIRE(next.kind == StepKind::do_not_shoot_arrow);
      const bool weak = (hand == Hand::right) == (lateral_deg < 0.0);
      CHECK(contains(next.words, "acts weak: stiffer ones") == (hand != Hand::unknown && weak));
      CHECK(contains(next.words, "acts stiff: weaker ones") == (hand != Hand::unknown && !weak));
    }
  }
}

TEST_CASE("rules: a change that does not mend it does not lift the stop") {
  const SetupRecord bare = setup("01", facts(), -9.0, 0.1);
  const auto then = [&](void (*change)(SetupFacts&), int count = 0, double lat_deg = 0.0) {
    SetupFacts changed = facts();
    change(changed);
    return judged({bare, setup("02", changed, lat_deg, 0.1, count)}).next.kind;
  };
  CHECK(then([](SetupFacts& f) { f.arrow.tip_mass_kg = 175.0 * kGrain; }) ==
        StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) { f.bow.nocking_point_m = 0.25 * kInch; }) ==
        StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) { f.arrow.fletching = Fletching::unknown; }) ==
        StepKind::do_not_shoot_arrow);
  // A lighter tip is the cure of a weak shaft, where it is light enough: 25 gr usually do half a
  // degree. Another spine is another shaft.
  CHECK(then([](SetupFacts& f) { f.arrow.tip_mass_kg = 100.0 * kGrain; }) ==
        StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) {
          f.arrow.tip_mass_kg = 60.0 * kGrain;
          f.arrow.shaft_length_m = 30.5 * kInch;
        }) == StepKind::film_more);
  CHECK(then([](SetupFacts& f) {
          f.arrow.spine = SpineTold{SpineConvention::deflection_in, 0.400};
        }) == StepKind::film_more);
  // Shot again all the same with another nocking point, it stays inside: that is what it does.
  CHECK(then([](SetupFacts& f) { f.bow.nocking_point_m = 0.25 * kInch; }, 6, -2.0) !=
        StepKind::do_not_shoot_arrow);
  // The very same set-up read 9 deg and then 1: that is no reason to shoot it.
  CHECK(then([](SetupFacts&) {}, 6, -1.0) == StepKind::do_not_shoot_arrow);
}

TEST_CASE("rules: a change the wrong way, or far too small, does not lift the stop") {
  const SetupRecord bare = setup("01", facts(), -12.0, 0.1);
  const auto then = [&](void (*change)(SetupFacts&)) {
    SetupFacts changed = facts();
    change(changed);
    return judged({bare, setup("02", changed, 0.0, 0.1, 0)}).next.kind;
  };
  // It acts weak: a softer shaft is worse, under whatever name, and a grain does nothing.
  CHECK(then([](SetupFacts& f) {
          f.arrow.spine = SpineTold{SpineConvention::deflection_in, 0.700};
        }) == StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) {
          f.arrow.name = "another";
          f.arrow.spine = SpineTold{SpineConvention::deflection_in, 0.700};
        }) == StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) { f.arrow.name = "another"; }) == StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) { f.arrow.tip_mass_kg = 124.0 * kGrain; }) ==
        StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) { f.arrow.shaft_length_m = 30.9 * kInch; }) ==
        StepKind::do_not_shoot_arrow);
  CHECK(then([](SetupFacts& f) {
          f.arrow.spine = SpineTold{SpineConvention::deflection_in, 0.400};
        }) == StepKind::film_more);
  CHECK(then([](SetupFacts& f) {
          f.arrow.name = "of a stiffness that nobody told";
          f.arrow.spine.reset();
        }) == StepKind::film_more);
}

TEST_CASE("rules: far off up or down, or both ways together, stops as sideways does") {
  for (const auto& [lat_deg, vert_deg] :
       {std::pair(0.2, -12.0), std::pair(-5.0, 12.0), std::pair(-7.4, -7.4)}) {
    const SessionJudgement judgement = judged({setup("01", facts(), lat_deg, vert_deg, 6, 0.1)});
    CAPTURE(judgement.next.words);
    CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
    REQUIRE(judgement.setups.front().stops.size() == 1);
    CHECK(contains(judgement.setups.front().stops.front(), "Do not shoot this arrow"));
  }
  // A nocking point that begins high, with a shaft to be tuned, is no such thing.
  CHECK(judged({setup("01", facts(), -6.0, 5.0, 6, 0.1)}).next.kind !=
        StepKind::do_not_shoot_arrow);
  // Brought down by five eighths of an inch it may be shot: a sixteenth usually does half a degree.
  SetupFacts low = facts();
  low.bow.nocking_point_m = 1.0625 * kInch;
  CHECK(judged({setup("01", low, 0.2, 12.0), setup("02", facts(), 0.0, 0.0, 0)}).next.kind ==
        StepKind::film_more);
}

TEST_CASE("rules: an arrow that stands across its flight is not filmed again") {
  SetupRecord record = setup("01", facts(), 0.0, 0.0, 0);
  ClipRecord clip;
  clip.file = "across.mp4";
  clip.reading.status = ClipStatus::refused;
  Shot shot;
  shot.status = ShotStatus::refused;
  shot.reason = fmt::format("the arrow seems to stand 31 deg {}: stop shooting this arrow",
                            rules::kAcrossItsFlight);
  clip.reading.shots.push_back(shot);
  record.clips.push_back(clip);
  const SessionJudgement judgement = judged({record});
  CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
  CHECK(contains(judgement.next.because, "31 deg"));
  CHECK(judgement.setups.front().stops.size() == 1);
  // Its archer looked at it: something else was taken for the arrow.
  record.clips.back().dropped = "the limb, not the arrow";
  CHECK(judged({record}).next.kind == StepKind::film_more);
}

TEST_CASE("rules: what must not be shot is said at its own set-up, whatever comes after it") {
  SetupFacts light = facts();
  light.bow.min_grains_per_pound = 9.0;  // 405 gr; it weighs 383
  SetupFacts heavy = light;
  heavy.arrow.tip_mass_kg = 200.0 * kGrain;
  const std::vector<SetupRecord> setups = {setup("01", light, -0.1, 0.1),
                                           setup("02", heavy, -1.0, 0.1)};
  const SessionJudgement judgement = judged(setups);
  CHECK_FALSE(forbids(judgement.next.kind));
  CHECK(judgement.setups[0].stops.size() == 1);
  CHECK(judgement.setups[1].stops.empty());
  CHECK(contains(judgement_text(session(setups), judgement), "! Do not shoot this arrow"));
}

TEST_CASE("rules: an arrow is not made lighter on the word of a scale that its parts deny") {
  SetupFacts heavy = facts();
  heavy.bow.draw_weight_n = 55.0 * kPound;
  heavy.bow.min_grains_per_pound = 7.0;        // 385 gr
  heavy.arrow.total_mass_kg = 470.0 * kGrain;  // its parts are 383
  const SessionJudgement judgement = judged({setup("01", heavy, -2.5, 0.1)});
  CHECK(judgement.next.kind != StepKind::lighter_tip);
  CHECK(judgement.next.kind != StepKind::trim_shaft);
  for (const std::string& caution : judgement.next.cautions) {
    CHECK_FALSE(contains(caution, "Do not shoot"));
  }
}

TEST_CASE("rules: a limit that was told and cannot be checked is said") {
  SetupFacts told = facts();
  told.bow.draw_weight_n.reset();
  told.bow.max_draw_weight_n = 40.0 * kPound;
  told.bow.max_draw_m = 27.0 * kInch;
  told.draw_m.reset();
  told.bow.brace_height_m.reset();
  const SessionJudgement judgement = judged({setup("01", told, -2.5, 0.1)});
  const auto says = [&](const char* words) {
    return std::any_of(judgement.cautions.begin(), judgement.cautions.end(),
                       [&](const std::string& caution) { return contains(caution, words); });
  };
  CHECK(says("draw weight was not told, so nobody has checked the arrow's mass"));
  CHECK(says("greatest draw weight was told, but not the bow's own"));
  CHECK(says("greatest draw was told, but not the archer's"));
  CHECK(says("brace heights were told, but not how the bow is braced"));
}

TEST_CASE("rules: a fletched arrow that hides a shaft too weak to be shot bare gets other shafts") {
  for (const double far_deg : {-9.0, -7.0, -4.5}) {
    const Step next = judged({setup("01", fletched(facts()), far_deg, 0.1)}).next;
    CAPTURE(far_deg);
    CHECK(next.kind == StepKind::stiffer_shaft);
    CHECK(contains(next.words, "Do not shoot this shaft bare"));
  }
  CHECK(judged({setup("01", fletched(facts()), -2.0, 0.1)}).next.kind == StepKind::shoot_bare);
  CHECK(judged({setup("01", fletched(facts()), 9.0, 0.1)}).next.kind == StepKind::weaker_shaft);
}

TEST_CASE("rules: a draw that was not told is asked for before the arrow gets lighter") {
  SetupFacts light = facts();
  light.arrow.total_mass_kg = 345.0 * kGrain;  // 7.7 gr/lb as marked; at 31 in it would be 6.6
  light.bow.min_grains_per_pound = 7.0;
  light.draw_m.reset();
  const Step next = judged({setup("01", light, -2.5, 0.1)}).next;
  CHECK(next.kind != StepKind::lighter_tip);
  CHECK(next.kind != StepKind::trim_shaft);
}

TEST_CASE("rules: no set is built to an arrow whose limits are not known") {
  REQUIRE(judged(finished(facts())).next.kind == StepKind::done);
  struct Untold {
    const char* what;
    void (*forget)(SetupFacts&);
  };
  const std::vector<Untold> untold = {
      {"mass", [](SetupFacts& f) { f.arrow.mass_per_length_kg_per_m.reset(); }},
      {"draw weight", [](SetupFacts& f) { f.bow.draw_weight_n.reset(); }},
      {"draw length", [](SetupFacts& f) { f.draw_m.reset(); }},
      {"brace height", [](SetupFacts& f) { f.bow.brace_height_m.reset(); }}};
  for (const Untold& row : untold) {
    SetupFacts known = facts();
    row.forget(known);
    const SessionJudgement judgement = judged(finished(known));
    CAPTURE(row.what);
    CHECK(judgement.next.kind != StepKind::done);
    CHECK_FALSE(judgement.build_sheet);
    if (judgement.next.kind == StepKind::tell_facts) {
      CHECK(contains(judgement.next.words, row.what));
    }
  }
}

TEST_CASE("rules: without spine too, an arrow that is probably too light is weighed first") {
  SetupFacts light = facts();
  light.arrow.tip_mass_kg = 60.0 * kGrain;
  light.arrow.mass_per_length_kg_per_m.reset();
  light.bow.min_grains_per_pound = 9.0;  // 405 gr; by usual figures it weighs some 320
  for (const bool spine_told : {true, false}) {
    if (!spine_told) {
      light.arrow.spine.reset();
    }
    const Step next = judged({setup("01", light, -2.5, 0.1)}).next;
    CHECK(next.kind == StepKind::tell_facts);
    CHECK(contains(next.words, "mass"));
  }
}

TEST_CASE("rules: whether it was bare is asked before anything is done about spine") {
  for (const double lat_deg : {-3.0, 2.5, 0.0}) {
    SetupFacts untold = facts();
    untold.arrow.fletching = Fletching::unknown;
    const Step next = judged({setup("01", untold, lat_deg, 0.05, 12, 0.2)}).next;
    CAPTURE(next.words);
    CHECK(next.kind == StepKind::tell_facts);
    CHECK(contains(next.words, "fletching"));
  }
}

TEST_CASE("rules: a cant that leans the other way is said at the step") {
  SetupFacts leaning = facts();
  leaning.cant_deg = -15.0;  // of a right-handed archer
  const Step next = judged({setup("01", leaning, -3.0, 1.5)}).next;
  bool said = false;
  for (const std::string& caution : next.cautions) {
    said = said || contains(caution, "sign is a slip");
  }
  CHECK(said);
}

TEST_CASE("rules: the lower edges of a build sheet's tolerances make no arrow too light") {
  SetupFacts light = facts();
  // 31 in of 8 gr/in, tip 125, nock 10, feathers 20: 403 gr; a third of a grain to spare.
  light.bow.min_grains_per_pound = (403.0 - 0.3) / 45.0;
  std::vector<SetupRecord> session = finished(light);
  // Bare it would be below the least, so the fletched arrow is judged alone.
  session.erase(session.begin());
  session[0] = setup("01", fletched(light), 0.05, 0.05, 40, 0.2);
  const SessionJudgement judgement = judged(session);
  REQUIRE(judgement.build_sheet);
  for (const BuildLine& line : judgement.build_sheet->arrow) {
    if (line.what == "Tip weight") {
      CHECK(contains(line.tolerance, "none lighter"));
    }
    if (line.what == "Finished shaft length, without the tip") {
      CHECK(contains(line.tolerance, "a limit lies there"));
    }
  }
}

TEST_CASE("rules: a tip does not go to and fro between two that were shot") {
  const auto with_tip = [](double grains) {
    SetupFacts changed = facts();
    changed.arrow.tip_mass_kg = grains * kGrain;
    return changed;
  };
  const auto next = [&](double other_gr, double other_deg, double here_gr, double here_deg) {
    return judged({setup("01", with_tip(other_gr), other_deg, 0.05, 12, 0.2),
                   setup("02", with_tip(here_gr), here_deg, 0.05, 12, 0.2)})
        .next;
  };
  // Five grains apart and on either side of straight: neither back nor forth.
  for (const Step& step : {next(105, 0.4, 110, -0.45), next(110, -0.45, 105, 0.4)}) {
    CAPTURE(step.words);
    CHECK(step.kind != StepKind::lighter_tip);
    CHECK(step.kind != StepKind::heavier_tip);
  }
  // Thirty apart there is room in between.
  const Step between = next(80, 1.5, 110, -1.5);
  if (between.kind == StepKind::lighter_tip) {
    CHECK(*between.amount < 29.0 * kGrain);
  }
}

TEST_CASE("rules: set-ups of the same facts that do not agree are said, and widen the interval") {
  const auto said = [](const SessionJudgement& judgement) {
    bool found = false;
    for (const std::string& caution : judgement.cautions) {
      found = found || contains(caution, "same facts as the present one");
    }
    return found;
  };
  const auto alike = [](double first_deg, double second_deg) {
    return judged({setup("01", facts(), first_deg, 0.05, 6, 0.2),
                   setup("02", facts(), second_deg, 0.05, 6, 0.2)});
  };
  CHECK_FALSE(said(alike(-1.5, -1.52)));
  const SessionJudgement apart = alike(-2.5, 2.5);
  CHECK(said(apart));
  // Their mean is straight, and nothing is built on it.
  CHECK(apart.next.kind != StepKind::done);
  CHECK_FALSE(apart.build_sheet);
}

TEST_CASE("rules: a tip that answered the wrong way is not made heavier still") {
  const auto with_tip = [](double grains) {
    SetupFacts changed = facts();
    changed.arrow.tip_mass_kg = grains * kGrain;
    changed.bow.min_grains_per_pound = 8.5;  // weaker, lighter shafts are not allowed
    return changed;
  };
  // Stiff, and each heavier tip read stiffer; contact was looked for, the set-up shot again.
  const Step next = judged({setup("01", with_tip(125), 1.5, 0.05, 6, 0.2),
                            setup("02", with_tip(150), 2.8, 0.05, 6, 0.2),
                            setup("03", with_tip(150), 2.8, 0.05, 12, 0.2)})
                        .next;
  CAPTURE(next.words);
  CHECK(next.kind != StepKind::heavier_tip);
  CHECK(next.kind != StepKind::done);
}

TEST_CASE("rules: while something forbids to shoot, no figure says where it would be straight") {
  SetupFacts light = facts();
  light.arrow.total_mass_kg = 180.0 * kGrain;  // 4 grains a pound of 45 lb
  const SessionJudgement judgement = judged({setup("01", light, -2.0, 0.05)});
  REQUIRE(forbids(judgement.next.kind));
  REQUIRE_FALSE(judgement.learned.empty());
  for (const Learned& learned : judgement.learned) {
    CHECK_FALSE(learned.straight_at);
  }
}
