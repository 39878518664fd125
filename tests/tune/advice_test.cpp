// The order and the steps of the trade. Common practice, no source, throughout: start high and
// come down a sixteenth at a time; form, nocking point, spine, brace; fletched before bare; a weak
// full-length shaft is trimmed at most a quarter inch at a time, a stiff one not at all; a known
// change that moves the reading the wrong way is contact or a false reading.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/tune/judgement_json.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;
using doctest::Approx;

namespace {

SetupFacts left_handed(SetupFacts facts) {
  facts.hand = Hand::left;
  return facts;
}

// The set-up after what can be undone has been tried and has answered: next comes the saw.
std::vector<SetupRecord> tried(const SetupFacts& facts, double lat_deg, double vert_deg,
                               int count = 6) {
  SetupFacts before = facts;
  before.arrow.tip_mass_kg = *facts.arrow.tip_mass_kg + 25.0 * kGrain;
  const double weaker = facts.hand == Hand::left ? 0.6 : -0.6;
  return {setup("00", before, lat_deg + weaker, vert_deg, count),
          setup("01", facts, lat_deg, vert_deg, count)};
}

bool is_spine_step(StepKind kind) {
  return kind == StepKind::lighter_tip || kind == StepKind::thicker_plate ||
         kind == StepKind::trim_shaft;
}

}  // namespace

TEST_CASE("rules: without shots, or with too few, film") {
  CHECK(judged({}).next.kind == StepKind::film_more);
  CHECK(judged({setup("01", facts(), 0.0, 0.0, 0)}).next.kind == StepKind::film_more);
  const Step two = judged({setup("01", facts(), -3.0, 2.0, 2)}).next;
  CHECK(two.kind == StepKind::film_more);
  CHECK(two.amount == 2.0);
}

TEST_CASE("rules: form comes before everything") {
  const Step step = judged({setup("01", facts(31.0, 0.625), -1.0, 1.0, 6, 2.2)}).next;
  CHECK(step.kind == StepKind::mind_form);
  CHECK(step.because.find("more would settle it") != std::string::npos);
}

TEST_CASE("rules: nock low is raised, but not without end") {
  CHECK(judged({setup("01", facts(), 0.0, -1.5)}).next.kind == StepKind::raise_nocking_point);
  CHECK(judged({setup("01", facts(31.0, 0.6875), 0.0, -1.5)}).next.kind ==
        StepKind::raise_nocking_point);
  // Half to three quarters of an inch above square is where archers start (common practice, no
  // source).
  for (const double high_in : {0.75, 0.9}) {
    const Step bound = judged({setup("01", facts(31.0, high_in), 0.0, -1.5)}).next;
    CHECK(bound.kind == StepKind::look_for_cause);
    CHECK(bound.words.find("Leave the nocking point") != std::string::npos);
  }
  // Nor lower than square.
  CHECK(judged(
            {setup("01", facts(31.0, 0.0625), -0.2, 2.4), setup("02", facts(31.0, 0.0), -0.2, 1.4)})
            .next.kind == StepKind::look_for_cause);
  SetupFacts untold = facts();
  untold.bow.nocking_point_m.reset();
  CHECK(judged({setup("01", untold, 0.0, -1.5)}).next.kind == StepKind::tell_facts);
}

TEST_CASE("rules: weak is met first by what can be undone") {
  for (const bool left : {false, true}) {
    const SetupFacts archer = left ? left_handed(facts()) : facts();
    const Step step = judged({setup("01", archer, left ? 4.0 : -4.0, 0.1)}).next;
    CHECK(step.kind == StepKind::lighter_tip);
    CHECK(*step.amount <= 50.0 * kGrain + 1e-9);
    CHECK(step.words.find("string") != std::string::npos);  // the other levers are named
  }
  // Where the tip may not be lighter, the plate; where neither, and only then, the saw.
  SetupFacts light = facts();
  light.arrow.tip_mass_kg = 60.0 * kGrain;
  CHECK(judged({setup("01", light, -4.0, 0.1)}).next.kind == StepKind::thicker_plate);
  light.bow.min_grains_per_pound = 6.0;  // 318 gr on 45 lb are 7.1
  light.bow.plate_offset_m = 0.1875 * kInch;
  CHECK(judged({setup("01", light, -4.0, 0.1)}).next.kind == StepKind::trim_shaft);
}

TEST_CASE("rules: a cut asks for four shots that agree") {
  CHECK(judged(tried(facts(), -4.0, 0.1, 3)).next.kind == StepKind::film_more);
  CHECK(judged(tried(facts(), -4.0, 0.1, 6)).next.kind == StepKind::trim_shaft);
  // Four, one of them a flyer: three that agree.
  std::vector<SetupRecord> setups = tried(facts(), -4.0, 0.1, 4);
  setups.back().clips[0].reading.shots[0].nock_right_deg->value = 3.0;
  const SessionJudgement flyer = judged(setups);
  REQUIRE(std::any_of(flyer.setups.back().shots.begin(), flyer.setups.back().shots.end(),
                      [](const JudgedShot& shot) { return shot.outlier; }));
  CHECK(flyer.next.kind != StepKind::trim_shaft);
}

TEST_CASE("rules: weak is trimmed, at most a quarter inch, with its cautions") {
  for (const bool left : {false, true}) {
    const SetupFacts archer = left ? left_handed(facts()) : facts();
    const SessionJudgement judgement = judged(tried(archer, left ? 4.0 : -4.0, 0.1));
    const Step& step = judgement.next;
    REQUIRE(step.kind == StepKind::trim_shaft);
    CHECK(*step.amount == Approx(kInch / 4.0));
    CHECK(*step.overshoot_chance < 0.05);
    CHECK(mentions(step.cautions, "respirator"));
    CHECK(mentions(step.cautions, "past the rest"));
    CHECK(mentions(step.cautions, "cannot be undone"));
    CHECK(mentions(step.cautions, "Nobody downrange"));
  }
}

TEST_CASE("rules: trims get smaller as zero comes near") {
  std::vector<SetupRecord> setups = tried(facts(31.0), -2.8, 0.1);
  setups.push_back(setup("02", facts(30.5), -1.7, 0.1));
  setups.push_back(setup("03", facts(30.125), -0.7, 0.1));
  // Without a lighter tip to turn to, which would be enough by itself.
  for (SetupRecord& record : setups) {
    *record.facts.arrow.tip_mass_kg -= 65.0 * kGrain;
    record.facts.bow.min_grains_per_pound = 6.0;
  }
  const Step near = judged(setups).next;
  REQUIRE(near.kind == StepKind::trim_shaft);
  CHECK(*near.amount < 0.2 * kInch);
}

TEST_CASE("rules: never past the rest, never below the mass floor") {
  // 28 in AMO: the rest lies 26 1/4 in from the nock, half an inch is left.
  // The maker allows arrows as light as these.
  const auto short_ones = [](double length_in) {
    SetupFacts told = facts(length_in);
    told.bow.min_grains_per_pound = 6.0;
    return told;
  };
  const Step at_rest = judged({setup("01", short_ones(26.76), -4.0, 0.1)}).next;
  CHECK(at_rest.kind == StepKind::lighter_tip);
  CHECK(judged(tried(short_ones(26.76), -4.0, 0.1)).next.kind != StepKind::trim_shaft);
  const Step just_before = judged(tried(short_ones(26.875), -4.0, 0.1)).next;
  REQUIRE(just_before.kind == StepKind::trim_shaft);
  CHECK(*just_before.amount <= 0.125 * kInch + 1e-9);
  // 31 in x 8 gr/in + 135 gr = 383 gr at 45 lb: 8.5 gr/lb, and the maker asks for that.
  SetupFacts light = facts();
  light.bow.min_grains_per_pound = 8.51;
  CHECK(judged({setup("01", light, -4.0, 0.1)}).next.kind == StepKind::thicker_plate);
  light.bow.plate_offset_m = 0.1875 * kInch;
  CHECK(judged({setup("01", light, -4.0, 0.1)}).next.kind == StepKind::stiffer_shaft);
}

TEST_CASE("rules: what would decide about a limit is asked for before the change") {
  const auto asks = [](const SetupFacts& facts, const char* what) {
    std::vector<SetupRecord> setups = tried(facts, -4.0, 0.1);
    const Step step = judged(setups).next;
    CAPTURE(step.words);
    CHECK(step.kind == StepKind::tell_facts);
    CHECK(step.words.find(what) != std::string::npos);
    CHECK(step.words.find('\n') == std::string::npos);
  };
  SetupFacts untold = facts();
  untold.draw_m.reset();
  asks(untold, "draw length");
  untold = facts();
  untold.arrow.nock_mass_kg.reset();
  asks(untold, "mass, weighed");
  untold = facts();
  untold.bow.draw_weight_n.reset();
  asks(untold, "draw weight");
  untold = facts();
  untold.arrow.shaft_length_m.reset();
  untold.arrow.arrow_length_m = 31.75 * kInch;
  untold.arrow.total_mass_kg = 383.0 * kGrain;
  asks(untold, "shaft's length");
}

TEST_CASE("rules: a stiff full-length shaft is not trimmed") {
  const Step slightly = judged({setup("01", facts(), 1.5, 0.1)}).next;
  CHECK(slightly.kind == StepKind::heavier_tip);
  CHECK(*slightly.amount <= 50.0 * kGrain + 1e-9);
  const Step much = judged({setup("01", facts(), 7.0, 0.1)}).next;
  CHECK(much.kind == StepKind::weaker_shaft);
  const Step left = judged({setup("01", left_handed(facts()), -1.5, 0.1)}).next;
  CHECK(left.kind == StepKind::heavier_tip);
}

TEST_CASE("rules: no going to and fro between two spine groups") {
  SetupFacts weaker = facts();
  weaker.arrow.spine->value = 0.600;
  CHECK(judged({setup("01", weaker, -7.0, 0.1), setup("02", facts(), 7.0, 0.1)}).next.kind ==
        StepKind::heavier_tip);
  // Nor weaker, lighter shafts where the bow's maker asks for the mass of these: 8.5 gr/lb.
  SetupFacts light = facts();
  light.bow.min_grains_per_pound = 8.4;
  CHECK(judged({setup("01", light, 7.0, 0.1)}).next.kind == StepKind::heavier_tip);
}

TEST_CASE("rules: a known change that moves the wrong way is contact or a false reading") {
  SetupFacts heavier = facts();
  heavier.arrow.tip_mass_kg = 150.0 * kGrain;
  const Step tip = judged({setup("01", facts(), -2.0, 0.1), setup("02", heavier, 0.5, 0.1)}).next;
  CHECK(tip.kind == StepKind::check_contact);
  CHECK(tip.because.find("heavier tip should act weaker") != std::string::npos);
  const Step trimmed =
      judged({setup("01", facts(31.0), -2.0, 0.1), setup("02", facts(30.75), -4.5, 0.1)}).next;
  CHECK(trimmed.kind == StepKind::check_contact);
  const Step right_way =
      judged({setup("01", facts(31.0), -4.5, 0.1), setup("02", facts(30.75), -3.6, 0.1)}).next;
  CHECK(is_spine_step(right_way.kind));
}

TEST_CASE("rules: contact is looked for once, and a longer shaft is another shaft") {
  SetupFacts heavier = facts();
  heavier.arrow.tip_mass_kg = 150.0 * kGrain;
  CHECK(is_spine_step(judged({setup("01", facts(), -3.0, 0.1), setup("02", heavier, -1.5, 0.1),
                              setup("03", heavier, -1.5, 0.1)})
                          .next.kind));
  SetupFacts cut = facts(29.5);
  cut.arrow.spine.reset();
  SetupFacts other = facts(31.0);
  other.arrow.spine.reset();
  CHECK(is_spine_step(
      judged({setup("01", cut, -5.0, 0.1), setup("02", other, -2.0, 0.1)}).next.kind));
}

TEST_CASE("rules: the bare shaft, then the finished arrow, then done with a build sheet") {
  SetupFacts fletched = facts(29.5);
  fletched.arrow.fletching = Fletching::fletched;
  CHECK(judged({setup("01", fletched, 0.0, 0.1, 12)}).next.kind == StepKind::shoot_bare);
  // A clearly stiff fletched arrow too: bare it may read degrees weaker.
  CHECK(judged({setup("01", fletched, 2.0, 0.1, 12)}).next.kind == StepKind::shoot_bare);
  CHECK(judged({setup("01", fletched, 2.0, 0.1, 12), setup("02", facts(29.5), -1.0, 0.1, 12)})
            .next.kind != StepKind::heavier_tip);
  const SetupRecord bare_straight = setup("01", facts(29.5), 0.0, 0.1, 16, 0.3);
  CHECK(judged({bare_straight}).next.kind == StepKind::shoot_fletched);
  // Fletched it reads weaker, which fletching does not do of itself: it touches, and is not done.
  CHECK(judged({bare_straight, setup("02", fletched, -2.0, 0.1, 6)}).next.kind ==
        StepKind::check_contact);
  CHECK(judged({bare_straight, setup("02", fletched, 1.5, 0.1, 6)}).next.kind == StepKind::done);
  const SessionJudgement bare = judged({bare_straight, setup("02", fletched, 0.1, 0.1, 16, 0.3)});
  REQUIRE(bare.next.kind == StepKind::done);
  REQUIRE(bare.build_sheet);
  const auto has = [&](const char* what, const char* value) {
    return std::any_of(bare.build_sheet->arrow.begin(), bare.build_sheet->arrow.end(),
                       [&](const BuildLine& line) {
                         return line.what.find(what) != std::string::npos &&
                                line.value.find(value) != std::string::npos;
                       });
  };
  CHECK(has("without the tip", "29 1/2 in"));
  CHECK(has("Tip weight", "125 gr"));
  CHECK(has("Spine", "0.500 in"));
  // 29.5 x 8 + 10 + 125 gr.
  CHECK(has("Total mass", "371 gr"));
  CHECK(has("Shot for this sheet", "fletched"));
  CHECK(has("Shaft diameter", "7.62 mm"));
  CHECK(has("Lightest arrow", "225 gr"));     // 5 gr for each of 45 lb
  CHECK(has("Shortest shaft", "26 3/4 in"));  // 28 in AMO less 1 3/4, and half an inch
  CHECK(mentions(bare.build_sheet->cautions, "never dry-fire"));
  CHECK(bare.build_sheet->bow.size() >= 6);
  CHECK(bare.build_sheet->arrows == 12);
  CHECK(build_sheet_text(bare).find("± ") != std::string::npos);
}

TEST_CASE("rules: a shaft that would be too light bare is not stripped") {
  SetupFacts light = fletched(facts(29.5));
  light.bow.min_grains_per_pound = 8.4;  // bare it is 371 gr, 8.2 grains per pound
  const Step step = judged({setup("01", light, 0.0, 0.1, 16, 0.3)}).next;
  CHECK(step.kind == StepKind::done);
  CHECK(step.because.find("lighter than the bow may shoot") != std::string::npos);
}

TEST_CASE("rules: when scatter hides the answer, more shots are asked for, or form") {
  const Step step = judged({setup("01", facts(29.5), -0.25, 0.1, 4, 0.9)}).next;
  const bool waits = step.kind == StepKind::film_more || step.kind == StepKind::mind_form;
  CHECK(waits);
  CHECK(step.because.find("Scatter hides the answer") != std::string::npos);
}

TEST_CASE("rules: where the shots share their error, no more of the same are asked for") {
  SetupRecord record = setup("01", facts(29.5), -0.25, 0.1, 12, 0.2);
  for (ClipRecord& clip : record.clips) {
    Shot& shot = clip.reading.shots.front();
    shot.nock_right_deg->u95 = 0.9;
    shot.shared = SharedError{0.85, 0.2, 0.0};
  }
  record.facts.arrow.spine.reset();  // no arrow model to lean on
  record.facts.arrow.total_mass_kg = 400.0 * kGrain;
  const Step step = judged({record}).next;
  CHECK(step.kind == StepKind::film_more);
  CHECK(step.words.find("would repeat the same error") != std::string::npos);
  CHECK(step.words.find("the phone's picture shows") != std::string::npos);
  CHECK(step.words.find("distance from the arrow rest") != std::string::npos);
  CHECK(step.words.find("put the phone up anew") != std::string::npos);
}

TEST_CASE("rules: without the hand nothing is said of spine") {
  SetupFacts untold = facts();
  untold.hand = Hand::unknown;
  const SessionJudgement judgement = judged({setup("01", untold, -4.0, 0.1)});
  CHECK(judgement.next.kind == StepKind::tell_hand);
  CHECK(judgement.next.words.find("right- or left-handed") != std::string::npos);
  CHECK(judgement.setups[0].spine == SpineVerdict::unclear);
}

TEST_CASE("rules: a fletched arrow gets no cautions of bare shafts") {
  SetupFacts fletched = facts(31.0, 0.625);
  fletched.arrow.fletching = Fletching::fletched;
  const Step step = judged({setup("01", fletched, -4.0, 3.0)}).next;
  CHECK(step.kind == StepKind::lower_nocking_point);
  CHECK_FALSE(mentions(step.cautions, "bare shaft"));
  CHECK(mentions(judged({setup("01", facts(31.0, 0.625), -4.0, 3.0)}).next.cautions, "bare shaft"));
}

TEST_CASE("unit: with no model inputs it works from the shots alone") {
  SetupFacts bare;
  bare.hand = Hand::right;
  bare.cant_deg = 0.0;
  bare.bow.draw_weight_n = 45.0 * kPound;
  bare.arrow.total_mass_kg = 383.0 * kGrain;
  bare.arrow.shaft_length_m = 31.0 * kInch;
  bare.draw_m = 28.0 * kInch;
  bare.arrow.fletching = Fletching::bare;
  std::vector<SetupRecord> setups;
  for (int k = 0; k < 4; ++k) {
    SetupFacts facts = bare;
    facts.arrow.shaft_length_m = (31.0 - 0.25 * k) * kInch;
    setups.push_back(setup(fmt::format("{:02}", k + 1), facts, -4.0 + 0.7 * k, 0.1));
  }
  const SessionJudgement judgement = judged(setups);
  CHECK(judgement.next.kind == StepKind::trim_shaft);
  REQUIRE(judgement.learned.size() == 1);
  const Learned& learned = judgement.learned[0];
  CHECK_FALSE(learned.prior);
  CHECK(learned.data.size() == 4);
  // The shots' own line: 2.8 deg per inch shorter, straight 0.68 in below 30 1/4.
  CHECK(learned.slope_deg_per_unit.low95 * kInch < -2.8);
  CHECK(learned.slope_deg_per_unit.high95 * kInch > -2.8);
  REQUIRE(learned.straight_at);
  CHECK(learned.straight_at->low95 < 29.57 * kInch);
  CHECK(learned.straight_at->high95 > 29.57 * kInch);
}

TEST_CASE("unit: one set-up leans on the prior, more set-ups narrow the answer") {
  const SessionJudgement one = judged({setup("01", facts(31.0), -3.0, 0.1)});
  REQUIRE_FALSE(one.learned.empty());
  REQUIRE(one.learned[0].prior);
  REQUIRE(one.learned[0].straight_at);
  const SessionJudgement three =
      judged({setup("01", facts(31.0), -3.0, 0.1), setup("02", facts(30.75), -2.4, 0.1),
              setup("03", facts(30.5), -1.8, 0.1)});
  REQUIRE(three.learned[0].straight_at);
  const auto width = [](const arrow::Band& band) { return band.high95 - band.low95; };
  CHECK(width(*three.learned[0].straight_at) < width(*one.learned[0].straight_at));
  const auto at_present = [&](const Learned& learned) {
    return width(learned.posterior.offset_deg[learned.posterior.offset_deg.size() / 2]);
  };
  CHECK(at_present(one.learned[0]) < width(one.learned[0].prior->offset_deg.front()));
}

TEST_CASE("unit: mirrored shots of a left-handed archer give the mirrored answer") {
  const SessionJudgement right = judged({setup("01", facts(), -3.0, 0.1)});
  const SessionJudgement left = judged({setup("01", left_handed(facts()), 3.0, 0.1)});
  CHECK(left.next.kind == right.next.kind);
  CHECK(*left.next.amount == Approx(*right.next.amount));
  const Learned& a = right.learned[0];
  const Learned& b = left.learned[0];
  REQUIRE(a.posterior.at.size() == b.posterior.at.size());
  for (std::size_t k = 0; k < a.posterior.at.size(); ++k) {
    CHECK(a.posterior.offset_deg[k].median == Approx(-b.posterior.offset_deg[k].median));
  }
}

TEST_CASE("unit: the same record, options and seed give the same judgement") {
  const SessionRecord record = session(
      {setup("01", facts(31.0, 0.625), -3.0, 2.0), setup("02", facts(31.0, 0.5625), -3.1, 1.4)});
  CHECK(judgement_json(record, judge_session(record, quick())) ==
        judgement_json(record, judge_session(record, quick())));
}

TEST_CASE("fault: nothing that shots or facts hold makes it throw") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  SetupFacts odd = facts();
  odd.draw_m = nan;
  odd.bow.draw_weight_n = -1.0;
  odd.bow.nocking_point_m = nan;
  odd.arrow.shaft_length_m = nan;
  odd.arrow.tip_mass_kg = 1e9;
  odd.cant_deg = nan;
  CHECK_NOTHROW(judged({setup("01", odd, -3.0, 0.1), setup("02", facts(), -3.0, 0.1)}));
  CHECK_NOTHROW(judged({setup("01", facts(), -3.0, 0.1), setup("02", odd, -3.0, 0.1)}));
  CHECK_NOTHROW(judged({setup("01", facts(), 1e300, -1e300)}));
  SetupFacts tiny = facts(0.001);
  CHECK_NOTHROW(judged({setup("01", tiny, -3.0, 0.1)}));
  SetupFacts apart = facts();
  apart.arrow.shaft_length_m = 1e6;
  CHECK_NOTHROW(judged({setup("01", apart, -3.0, 0.1), setup("02", facts(), -3.0, 0.1)}));
}
