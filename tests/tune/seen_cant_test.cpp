// The cant as the pictures of a set-up's shots show it.
#include <doctest/doctest.h>

#include <string>

#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

// Shots of a weak arrow off a bow at +15 deg (docs/measurement.md: -3 deg appears as left 2.898 and
// high 0.776), each with the cant that its picture shows.
SetupRecord canted(const std::vector<double>& seen_deg, std::size_t unseen = 0) {
  SetupFacts untold = facts();
  untold.cant_deg.reset();
  SetupRecord record =
      setup("01", untold, -2.898, 0.776, static_cast<int>(seen_deg.size() + unseen), 0.1);
  for (std::size_t i = 0; i < seen_deg.size(); ++i) {
    record.clips[i].reading.shots.front().cant_seen_deg = Measured{seen_deg[i], 2.5};
  }
  return record;
}

bool any_says(const std::vector<std::string>& texts, const char* part) {
  for (const std::string& text : texts) {
    if (text.find(part) != std::string::npos) {
      return true;
    }
  }
  return false;
}

}  // namespace

TEST_CASE("unit: each shot is turned by the cant of its own picture") {
  const SessionJudgement judgement = judged({canted({14.0, 15.0, 16.0, 15.0, 14.5, 15.5})});
  const SetupJudgement& of = judgement.setups.front();
  CHECK(of.bow.source == BowSource::seen);
  CHECK(of.lateral->mean_deg == doctest::Approx(-3.0).epsilon(0.01));
  CHECK(std::abs(of.vertical->mean_deg) < 0.1);
  CHECK(of.spine == SpineVerdict::weak);
  CHECK(judgement.next.kind != StepKind::tell_cant);
  CHECK_FALSE(any_says(of.warnings, "leans differently"));
  CHECK_FALSE(any_says(judgement.cautions, "No cant was told"));
}

TEST_CASE("unit: a shot whose picture does not show the bow takes what its fellows show") {
  const SessionJudgement judgement = judged({canted({14.0, 15.0, 16.0}, 3)});
  const SetupJudgement& of = judgement.setups.front();
  CHECK(of.bow.source == BowSource::seen);
  CHECK(of.lateral->mean_deg == doctest::Approx(-3.0).epsilon(0.01));
  CHECK(judgement.next.kind != StepKind::tell_cant);
  // With none to show it, it is assumed and asked for as before.
  CHECK(judged({canted({}, 6)}).next.kind == StepKind::tell_cant);
}

TEST_CASE("unit: a bow that leans unevenly is form") {
  const SessionJudgement judgement = judged({canted({5.0, 25.0, 8.0, 22.0, 15.0, 14.0})});
  CHECK(any_says(judgement.setups.front().warnings, "leans differently"));
}

TEST_CASE(
    "rules: a bow that leans against the hand told permits no change before it was looked at") {
  const SessionJudgement judgement = judged({canted({-14.0, -15.0, -16.0, -15.0, -14.0, -15.0})});
  CHECK(judgement.next.kind == StepKind::tell_hand);
  CHECK(judgement.setups.front().spine == SpineVerdict::unclear);
  CHECK_FALSE(judgement.build_sheet);
}
