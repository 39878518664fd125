// The nocking point: start high and come down a sixteenth at a time until nock high just
// disappears; what grows on the way down is a bounce. Common practice, no source, throughout.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;
using doctest::Approx;

namespace {

bool is_spine_step(StepKind kind) {
  return kind == StepKind::lighter_tip || kind == StepKind::thicker_plate ||
         kind == StepKind::trim_shaft;
}

}  // namespace

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
  CHECK(is_spine_step(after(1.4, 0.1)));                    // gone: spine's turn
  CHECK(after(0.3, -1.5) == StepKind::raise_nocking_point);
}

TEST_CASE("rules: between a worse height below and a worse one above the nocking point rests") {
  const SessionJudgement judgement =
      judged({setup("01", facts(31.0, 0.5), -3.0, 2.0), setup("02", facts(31.0, 0.375), -3.0, 2.2),
              setup("03", facts(31.0, 0.4375), -3.0, 0.8)});
  CHECK(is_spine_step(judgement.next.kind));
}

TEST_CASE("rules: nock high that four steps down do not touch is not the nocking point") {
  std::vector<SetupRecord> setups;
  for (int k = 0; k < 5; ++k) {
    setups.push_back(
        setup(fmt::format("{:02}", k + 1), facts(31.0, 0.75 - 0.0625 * k), -4.0, 1.6 - 0.02 * k));
  }
  const Step step = judged(setups).next;
  CHECK(is_spine_step(step.kind));
  CHECK(mentions(step.cautions, "contact with the shelf"));
  // And it stays so after the trim that follows.
  setups.push_back(setup("06", facts(30.75, 0.5), -3.4, 1.5));
  CHECK(is_spine_step(judged(setups).next.kind));
}

TEST_CASE("rules: a nocking point settled before a trim is taken up again on a clear sign") {
  const auto after_trim = [](double vertical_deg) {
    return judged({setup("01", facts(31.0, 0.5), -4.0, 0.9),
                   setup("02", facts(31.0, 0.4375), -4.0, 0.2),
                   setup("03", facts(30.75, 0.4375), -3.4, vertical_deg)})
        .next.kind;
  };
  CHECK(is_spine_step(after_trim(0.4)));
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
  CHECK(is_spine_step(stripped(-2.8, 0.7, 0.8)));
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

TEST_CASE("rules: no done while the nock stands off") {
  SetupFacts fletched = facts(29.5, 0.3125);
  fletched.arrow.fletching = Fletching::fletched;
  SetupFacts bare = facts(29.5, 0.3125);
  // 2.25 deg high, and coming down has not helped.
  const auto ended = [&](const SetupFacts& last_facts) {
    std::vector<SetupRecord> setups;
    for (int k = 0; k < 5; ++k) {
      SetupFacts each = bare;
      each.bow.nocking_point_m = (0.5625 - 0.0625 * k) * kInch;
      setups.push_back(setup(fmt::format("{:02}", k + 1), each, 0.0, 2.25, 8, 0.3));
    }
    setups.push_back(setup("06", last_facts, 0.0, 2.25, 8, 0.3));
    return judged(setups).next;
  };
  CHECK(ended(bare).kind == StepKind::look_for_cause);
  CHECK(ended(fletched).kind != StepKind::done);
  SetupFacts accepted = bare;
  accepted.accepted_nock_height = "groups well at 18 m";
  CHECK(ended(accepted).kind == StepKind::shoot_fletched);
}

TEST_CASE("rules: up and down that cannot be settled from behind is said, not filmed for ever") {
  SetupFacts fletched = facts(29.5);
  fletched.arrow.fletching = Fletching::fletched;
  const auto wide = [](SetupRecord record) {
    for (ClipRecord& clip : record.clips) {
      clip.reading.shots[0].nock_high_deg->u95 = 1.5;
    }
    return record;
  };
  const Step step = judged({wide(setup("01", facts(29.5), 0.0, 0.2, 12, 0.3)),
                            wide(setup("02", fletched, 0.0, 0.2, 12, 0.3))})
                        .next;
  CHECK(step.kind == StepKind::done);
  CHECK(step.because.find("cannot be settled from behind") != std::string::npos);
}

TEST_CASE("rules: an untold cant leaves the nocking point alone and asks") {
  SetupFacts untold = facts(31.0, 0.5);
  untold.cant_deg.reset();
  const SessionJudgement open = judged({setup("01", untold, -3.0, 0.9)});
  CHECK(open.next.kind == StepKind::tell_cant);
  CHECK(open.setups[0].bow.source == BowSource::assumed);
  CHECK(open.setups[0].nocking_point == NockingPointVerdict::unclear);
  CHECK(open.setups[0].spine == SpineVerdict::weak);
  // More shots do not make up for it.
  CHECK(judged({setup("01", untold, -3.0, 0.9, 40, 0.1)}).setups[0].nocking_point ==
        NockingPointVerdict::unclear);
  // Told by eye, it stays in the interval and is small.
  const SessionJudgement told = judged({setup("01", facts(31.0, 0.5), -3.0, 0.9, 40, 0.1)});
  CHECK(told.setups[0].vertical->cant_u95_deg == Approx(3.0 * 0.1026).epsilon(0.02));
}

TEST_CASE(
    "rules: a nocking point that is raised in vain goes back, and another cause is looked for") {
  const auto raised = [](std::vector<double> vert_deg) {
    std::vector<SetupRecord> setups;
    for (std::size_t i = 0; i < vert_deg.size(); ++i) {
      setups.push_back(setup(std::to_string(i), facts(31.0, 0.25 + 0.0625 * static_cast<double>(i)),
                             0.0, vert_deg[i], 6, 0.1));
    }
    return judged(setups).next;
  };
  CHECK(raised({-1.2}).kind == StepKind::raise_nocking_point);
  CHECK(raised({-2.4, -1.8, -1.2}).kind == StepKind::raise_nocking_point);
  // Each raise made it worse, or did nothing.
  for (const Step& next : {raised({-1.0, -2.0}), raised({-1.2, -1.25, -1.2, -1.15})}) {
    CHECK(next.kind == StepKind::look_for_cause);
    CHECK(contains(next.words, "back to 1/4 in"));
  }
}

TEST_CASE("rules: a bounce that was found is not walked again with the next tip") {
  std::vector<SetupRecord> walked;
  for (const auto& [height_in, vert_deg] :
       {std::pair(0.5, 0.9), std::pair(0.4375, 1.7), std::pair(0.5625, 1.7), std::pair(0.5, 0.9)}) {
    walked.push_back(setup(std::to_string(walked.size()), facts(31.0, height_in), -2.5, vert_deg));
  }
  SetupFacts lighter = facts(31.0, 0.5);
  lighter.arrow.tip_mass_kg = 100.0 * kGrain;
  walked.push_back(setup("lighter", lighter, -2.0, 0.9));
  const StepKind kind = judged(walked).next.kind;
  CHECK(kind != StepKind::lower_nocking_point);
  CHECK(kind != StepKind::raise_nocking_point);
  CHECK(kind != StepKind::start_high);
}
