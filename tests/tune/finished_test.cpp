// What is called done, and what is not. The rules are common practice, no source; the shots are
// made up.
#include <doctest/doctest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

bool any_contains(const std::vector<std::string>& texts, const char* part) {
  return std::any_of(texts.begin(), texts.end(),
                     [&](const std::string& text) { return contains(text, part); });
}

// Bare straight and level, with what came before or after it fletched.
SetupRecord bare() {
  return setup("bare", facts(), 0.05, 0.05, 24, 0.2);
}

}  // namespace

TEST_CASE("rules: what feathers make much worse is not done, however often it was shot") {
  // Right-handed: left is weak. Weaker than bare the fletching touches; stiffer by over 4 deg too.
  for (const double lateral_deg : {-3.0, -6.0, 9.0}) {
    for (const int shots : {6, 12, 24}) {
      const SetupRecord feathered =
          setup("fletched", fletched(facts()), lateral_deg, 0.05, shots, 0.2);
      for (const auto& order : {std::vector{bare(), feathered}, std::vector{feathered, bare()}}) {
        const SessionJudgement judgement = judged(order);
        CAPTURE(judgement.next.words);
        CHECK(judgement.next.kind != StepKind::done);
        CHECK_FALSE(judgement.build_sheet.has_value());
      }
    }
  }
  // A nock that stands high with feathers only is asked about, and may be accepted at its set-up.
  SetupFacts high = fletched(facts());
  CHECK(judged({bare(), setup("fletched", high, 0.4, 4.0, 12, 0.2)}).next.kind ==
        StepKind::check_contact);
  high.accepted_nock_height = "flies well";
  const SessionJudgement accepted = judged({bare(), setup("fletched", high, 0.4, 4.0, 12, 0.2)});
  REQUIRE(accepted.next.kind == StepKind::done);
  CHECK(any_contains(accepted.build_sheet->cautions, "flies well"));
}

TEST_CASE("rules: no set is built while the finished arrow's own mean is off") {
  struct Case {
    double lat_deg;
    double vert_deg;
  };
  // Three shots of wide scatter: the interval reaches back, the mean does not.
  for (const Case& seen : {Case{0.0, 1.5}, Case{-1.2, 0.0}, Case{4.5, 0.0}}) {
    const SetupRecord feathered =
        setup("fletched", fletched(facts()), seen.lat_deg, seen.vert_deg, 3, 2.0);
    for (const auto& order : {std::vector{bare(), feathered}, std::vector{feathered, bare()}}) {
      const SessionJudgement judgement = judged(order);
      CAPTURE(judgement.next.words);
      CHECK(judgement.next.kind != StepKind::done);
      CHECK_FALSE(judgement.build_sheet.has_value());
    }
  }
}

TEST_CASE("rules: a little that is left by feathers stays a caution, on the sheet too") {
  const SessionJudgement judgement =
      judged({bare(), setup("fletched", fletched(facts()), -1.2, 0.05, 24, 0.2)});
  REQUIRE(judgement.next.kind == StepKind::done);
  CHECK(any_contains(judgement.next.cautions, "no contact was found"));
  CHECK(any_contains(judgement.build_sheet->cautions, "no contact was found"));
}

TEST_CASE("rules: the sheet is of the arrow that the set will be") {
  SetupFacts weighed = fletched(facts());
  weighed.arrow.total_mass_kg = 420.0 * kGrain;
  const SessionJudgement judgement =
      judged({setup("fletched", weighed, 0.4, 0.05, 24, 0.2), bare()});
  REQUIRE(judgement.next.kind == StepKind::done);
  const std::vector<BuildLine>& lines = judgement.build_sheet->arrow;
  const auto value = [&](const char* what) {
    const auto line = std::find_if(lines.begin(), lines.end(),
                                   [&](const BuildLine& each) { return each.what == what; });
    REQUIRE(line != lines.end());
    return line->value;
  };
  CHECK(value("Shot for this sheet") == "fletched");
  CHECK(contains(value("Total mass"), "420 gr"));
}

TEST_CASE("rules: another arrow's bare shafts do not speak for this one") {
  for (int which = 0; which < 3; ++which) {
    SetupFacts first = facts();
    first.arrow.name = std::string("one arrow");
    first.arrow.diameter_m = 0.30 * kInch;
    SetupFacts other = fletched(first);
    if (which == 0) {
      other.arrow.name = std::string("another arrow");
    } else if (which == 1) {
      other.arrow.diameter_m = 0.25 * kInch;
    } else {
      first.arrow.mass_per_length_kg_per_m = 8.0 * kGrain / kInch;
      other.arrow.mass_per_length_kg_per_m = 9.5 * kGrain / kInch;
    }
    const SessionJudgement judgement = judged(
        {setup("bare", first, 0.05, 0.05, 24, 0.2), setup("fletched", other, 0.4, 0.05, 24, 0.2)});
    CAPTURE(which);
    CHECK(judgement.next.kind != StepKind::done);
  }
}

TEST_CASE("rules: a bare mean that is hardly known does not finish a tune") {
  const SessionJudgement judgement =
      judged({setup("bare", facts(), 0.4, 0.05, 3, 0.8),
              setup("fletched", fletched(facts()), 0.4, 0.05, 24, 0.2)});
  CAPTURE(judgement.next.because);
  CHECK(judgement.next.kind != StepKind::done);
}

TEST_CASE("rules: an arrow far off is stopped with feathers on, too") {
  for (const auto& [lateral_deg, vertical_deg] :
       {std::pair(-25.0, 0.0), std::pair(14.0, 0.0), std::pair(0.0, 14.0)}) {
    const SessionJudgement judgement =
        judged({setup("fletched", fletched(facts()), lateral_deg, vertical_deg, 2, 0.1)});
    CAPTURE(judgement.next.words);
    CHECK(judgement.next.kind == StepKind::do_not_shoot_arrow);
    CHECK(judgement.setups.front().stops.size() == 1);
  }
  // Below that other shafts come before the nocking point, with the caution of weak ones.
  const SessionJudgement weak = judged({setup("fletched", fletched(facts()), -10.0, 2.2, 6, 0.1)});
  CHECK(weak.next.kind == StepKind::stiffer_shaft);
  CHECK(any_contains(weak.next.cautions, "much too weak"));
}

TEST_CASE("rules: a shaft that trailed by its height is not answered with another spine") {
  // Fletched and a sixteenth lower it leaves straight: the height is what was wrong.
  SetupFacts lower = fletched(facts());
  lower.bow.nocking_point_m = 0.375 * kInch;
  for (const double lateral_deg : {-0.3, 0.3}) {
    const Step next = judged({setup("bare", facts(), lateral_deg, 9.0, 4, 0.1),
                              setup("fletched", lower, 0.2, 0.1, 6, 0.1)})
                          .next;
    CAPTURE(next.words);
    CHECK(next.kind == StepKind::look_for_cause);
    CHECK(contains(next.words, "Do not shoot this shaft bare yet"));
  }
}

TEST_CASE("rules: a shaft that does not answer is not cut on and on") {
  // Weak by two degrees, and neither 40 gr of tip nor half an inch moved it.
  SetupFacts lighter = facts();
  lighter.arrow.tip_mass_kg = 85.0 * kGrain;
  SetupFacts shorter = lighter;
  shorter.arrow.shaft_length_m = 30.5 * kInch;
  const auto session = [&](int shots) {
    return judged({setup("1", facts(), -2.0, 0.05, 8, 0.2), setup("2", lighter, -2.0, 0.05, 8, 0.2),
                   setup("3", shorter, -2.0, 0.05, shots, 0.2)});
  };
  CHECK(session(8).next.kind == StepKind::check_contact);
  // Looked for, and shot again: other shafts, and no cut.
  CHECK(session(14).next.kind == StepKind::stiffer_shaft);
}

TEST_CASE("rules: the nocking point is not moved on a reading that is as likely the other way") {
  const SessionJudgement judgement = judged({setup("1", facts(), 0.0, 1.0, 4, 2.0)});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind != StepKind::lower_nocking_point);
  CHECK(judgement.next.kind != StepKind::start_high);
}

TEST_CASE("rules: a fletched arrow at the limit is not sent to be shot bare unweighed") {
  SetupFacts heavy = fletched(facts());
  heavy.bow.min_grains_per_pound = 9.0;
  heavy.arrow.mass_per_length_kg_per_m.reset();
  heavy.arrow.total_mass_kg = 404.0 * kGrain;  // 45 lb: 405 gr
  SetupFacts plucked = heavy;
  plucked.arrow.fletching = Fletching::bare;
  plucked.arrow.fletching_mass_kg.reset();
  plucked.arrow.total_mass_kg.reset();
  const SessionJudgement judgement =
      judged({setup("1", heavy, 0.0, 0.0, 4, 0.2), setup("2", plucked, 0.0, 0.0, 0)});
  CAPTURE(judgement.next.words);
  CHECK(judgement.next.kind == StepKind::tell_facts);
}
