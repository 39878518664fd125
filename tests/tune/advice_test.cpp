// The order and the steps of the trade. Common practice, no source, throughout: start high and
// come down a sixteenth at a time; form, nocking point, spine, brace; fletched before bare; a weak
// full-length shaft is trimmed at most a quarter inch at a time, a stiff one not at all; a known
// change that moves the reading the wrong way is contact or a false reading.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "nocktrail/arrow/setup_check.hpp"
#include "nocktrail/tune/judgement_json.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;
using doctest::Approx;

namespace {

bool mentions(const std::vector<std::string>& texts, const char* wanted) {
  return std::any_of(texts.begin(), texts.end(), [&](const std::string& text) {
    return text.find(wanted) != std::string::npos;
  });
}

SetupFacts left_handed(SetupFacts facts) {
  facts.hand = Hand::left;
  return facts;
}

}  // namespace

TEST_CASE("rules: without shots, or with too few, film") {
  CHECK(judged({}).next.kind == StepKind::film_more);
  CHECK(judged({setup("01", facts(), 0.0, 0.0, 0)}).next.kind == StepKind::film_more);
  const Step two = judged({setup("01", facts(), -3.0, 2.0, 2)}).next;
  CHECK(two.kind == StepKind::film_more);
  CHECK(two.amount == 4.0);
}

TEST_CASE("rules: form comes before everything") {
  const Step step = judged({setup("01", facts(31.0, 0.625), -1.0, 1.0, 6, 2.2)}).next;
  CHECK(step.kind == StepKind::mind_form);
  CHECK(step.because.find("more would settle it") != std::string::npos);
}

TEST_CASE("rules: the nocking point comes before spine, from a known high start downward") {
  const Step step = judged({setup("01", facts(31.0, 0.625), -3.0, 2.0)}).next;
  CHECK(step.kind == StepKind::lower_nocking_point);
  CHECK(*step.amount == Approx(kInch / 16.0));
}

TEST_CASE("rules: nock high at a height that is not known to be high: start high") {
  const Step low = judged({setup("01", facts(31.0, 0.25), -3.0, 2.0)}).next;
  CHECK(low.kind == StepKind::start_high);
  CHECK(*low.amount == Approx(0.375 * kInch));  // to 5/8 in above square
  SetupFacts untold = facts();
  untold.bow.nocking_point_m.reset();
  CHECK(judged({setup("01", untold, -3.0, 2.0)}).next.kind == StepKind::start_high);
}

TEST_CASE("rules: the direction of the last change decides") {
  const auto after = [](double before_deg, double now_deg) {
    return judged({setup("01", facts(31.0, 0.5), -3.0, before_deg),
                   setup("02", facts(31.0, 0.4375), -3.0, now_deg)})
        .next.kind;
  };
  CHECK(after(2.2, 1.4) == StepKind::lower_nocking_point);  // shrinks: go on
  CHECK(after(1.4, 2.6) == StepKind::raise_nocking_point);  // grows: the bounce
  CHECK(after(1.4, 0.1) == StepKind::trim_shaft);           // gone: spine's turn
  CHECK(after(0.3, -1.5) == StepKind::raise_nocking_point);
}

TEST_CASE("rules: between a worse height below and a worse one above the nocking point rests") {
  const SessionJudgement judgement =
      judged({setup("01", facts(31.0, 0.5), -3.0, 2.0), setup("02", facts(31.0, 0.375), -3.0, 2.2),
              setup("03", facts(31.0, 0.4375), -3.0, 0.8)});
  CHECK(judgement.next.kind == StepKind::trim_shaft);
}

TEST_CASE("rules: nock high that four steps down do not touch is not the nocking point") {
  std::vector<SetupRecord> setups;
  for (int k = 0; k < 5; ++k) {
    setups.push_back(
        setup(fmt::format("{:02}", k + 1), facts(31.0, 0.75 - 0.0625 * k), -4.0, 1.6 - 0.02 * k));
  }
  const Step step = judged(setups).next;
  CHECK(step.kind == StepKind::trim_shaft);
  CHECK(mentions(step.cautions, "contact with the shelf"));
  // And it stays so after the trim that follows.
  setups.push_back(setup("06", facts(30.75, 0.5), -3.4, 1.5));
  CHECK(judged(setups).next.kind == StepKind::trim_shaft);
}

TEST_CASE("rules: a nocking point settled before a trim is taken up again on a clear sign") {
  const auto after_trim = [](double vertical_deg) {
    return judged({setup("01", facts(31.0, 0.5), -4.0, 0.9),
                   setup("02", facts(31.0, 0.4375), -4.0, 0.2),
                   setup("03", facts(30.75, 0.4375), -3.4, vertical_deg)})
        .next.kind;
  };
  CHECK(after_trim(0.4) == StepKind::trim_shaft);
  CHECK(after_trim(1.6) == StepKind::lower_nocking_point);
  CHECK(after_trim(-1.6) == StepKind::raise_nocking_point);
}

TEST_CASE("rules: an unclear bare reading does not undo a nocking point found level fletched") {
  SetupFacts fletched = facts(31.0, 0.375);
  fletched.arrow.fletching = Fletching::fletched;
  const auto stripped = [&](double lateral_deg, double vertical_deg, double scatter_deg,
                            double fletched_deg = 0.1) {
    return judged({setup("01", fletched, -0.4, fletched_deg),
                   setup("02", facts(31.0, 0.375), lateral_deg, vertical_deg, 6, scatter_deg)})
        .next.kind;
  };
  CHECK(stripped(-2.8, 0.7, 0.8) == StepKind::trim_shaft);
  // Put off is not settled: once the spine is near, the same reading has the word.
  CHECK(
      judged({setup("01", fletched, -0.4, 0.1), setup("02", facts(31.0, 0.375), -2.8, 0.8, 6, 0.8),
              setup("03", facts(30.0, 0.375), -0.1, 0.8, 6, 0.8)})
          .next.kind == StepKind::start_high);
  // A clear one does, and so does an unclear one once the spine is near, or where it never was
  // level.
  CHECK(stripped(-2.8, 1.6, 0.4) == StepKind::start_high);
  CHECK(stripped(-0.1, 0.9, 0.8) == StepKind::start_high);
  CHECK(stripped(-2.8, 0.9, 0.8, 1.2) == StepKind::start_high);
}

TEST_CASE("rules: nock low is raised") {
  CHECK(judged({setup("01", facts(), 0.0, -1.5)}).next.kind == StepKind::raise_nocking_point);
}

TEST_CASE("rules: weak is trimmed, at most a quarter inch, with its cautions") {
  for (const bool left : {false, true}) {
    const SetupFacts archer = left ? left_handed(facts()) : facts();
    const SessionJudgement judgement = judged({setup("01", archer, left ? 4.0 : -4.0, 0.1)});
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
  const Step near =
      judged({setup("01", facts(31.0), -2.8, 0.1), setup("02", facts(30.5), -1.7, 0.1),
              setup("03", facts(30.125), -0.7, 0.1)})
          .next;
  REQUIRE(near.kind == StepKind::trim_shaft);
  CHECK(*near.amount < 0.2 * kInch);
}

TEST_CASE("rules: never past the rest, never below the mass floor") {
  // 28 in AMO: the rest lies 26 1/4 in from the nock, half an inch is left.
  const Step at_rest = judged({setup("01", facts(26.76), -4.0, 0.1)}).next;
  const bool uncut =
      at_rest.kind == StepKind::lighter_tip || at_rest.kind == StepKind::stiffer_shaft;
  CHECK(uncut);
  const Step just_before = judged({setup("01", facts(26.875), -4.0, 0.1)}).next;
  REQUIRE(just_before.kind == StepKind::trim_shaft);
  CHECK(*just_before.amount <= 0.125 * kInch + 1e-9);
  // 31 in x 8 gr/in + 135 gr = 383 gr at 45 lb: 8.5 gr/lb, and the maker asks for that.
  SetupFacts light = facts();
  light.bow.min_grains_per_pound = 8.51;
  CHECK(judged({setup("01", light, -4.0, 0.1)}).next.kind == StepKind::stiffer_shaft);
}

TEST_CASE("rules: without a draw length the cut waits for a mark at full draw") {
  SetupFacts untold = facts();
  untold.draw_m.reset();
  const SessionJudgement judgement = judged({setup("01", untold, -4.0, 0.1)});
  REQUIRE(judgement.next.kind == StepKind::trim_shaft);
  CHECK(judgement.next.words.find("mark the shaft at the rest at full draw") != std::string::npos);
  CHECK(mentions(judgement.cautions, "draw length"));
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
  CHECK(right_way.kind == StepKind::trim_shaft);
}

TEST_CASE("rules: contact is looked for once, and a longer shaft is another shaft") {
  SetupFacts heavier = facts();
  heavier.arrow.tip_mass_kg = 150.0 * kGrain;
  CHECK(judged({setup("01", facts(), -3.0, 0.1), setup("02", heavier, -1.5, 0.1),
                setup("03", heavier, -1.5, 0.1)})
            .next.kind == StepKind::trim_shaft);
  SetupFacts cut = facts(29.5);
  cut.arrow.spine.reset();
  SetupFacts other = facts(31.0);
  other.arrow.spine.reset();
  CHECK(judged({setup("01", cut, -5.0, 0.1), setup("02", other, -2.0, 0.1)}).next.kind ==
        StepKind::trim_shaft);
}

TEST_CASE("rules: fletched before bare, then done with a build sheet") {
  SetupFacts fletched = facts(29.5);
  fletched.arrow.fletching = Fletching::fletched;
  CHECK(judged({setup("01", fletched, 0.0, 0.1, 12)}).next.kind == StepKind::shoot_bare);
  const SessionJudgement bare = judged({setup("01", facts(29.5), 0.0, 0.1, 16, 0.3)});
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
  CHECK(bare.build_sheet->bow.size() >= 6);
  CHECK(bare.build_sheet->arrows == 12);
  CHECK(build_sheet_text(bare).find("± ") != std::string::npos);
}

TEST_CASE("rules: a shaft that would be too light bare is not stripped") {
  SetupFacts light = facts(29.5);
  light.arrow.fletching = Fletching::fletched;
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

TEST_CASE("rules: without the hand nothing is said of spine") {
  SetupFacts untold = facts();
  untold.hand = Hand::unknown;
  const SessionJudgement judgement = judged({setup("01", untold, -4.0, 0.1)});
  CHECK(judgement.next.kind == StepKind::film_more);
  CHECK(judgement.next.words.find("right- or left-handed") != std::string::npos);
  CHECK(judgement.setups[0].spine == SpineVerdict::unclear);
}

TEST_CASE("unit: with no model inputs it works from the shots alone") {
  SetupFacts bare;
  bare.hand = Hand::right;
  bare.arrow.shaft_length_m = 31.0 * kInch;
  bare.draw_m = 28.0 * kInch;
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
