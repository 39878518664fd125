// The cant as the pictures of a set-up's shots show it.
#include <doctest/doctest.h>

#include <cmath>
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

TEST_CASE("rules: nothing is cut where hand and told cant do not go together") {
  // A set-up that is cut with the cant told to the hand's own side, and not with its sign slipped.
  const auto next = [](double cant_deg) {
    SetupFacts told = facts();
    told.cant_deg = cant_deg;
    told.bow.plate_offset_m = 0.1875 * kInch;  // what can be undone is at its end
    told.bow.min_grains_per_pound = 6.0;
    told.arrow.tip_mass_kg = 60.0 * kGrain;
    return judged({setup("01", told, -3.0 * std::cos(cant_deg * M_PI / 180.0),
                         3.0 * std::sin(cant_deg * M_PI / 180.0), 8, 0.2)})
        .next;
  };
  REQUIRE(next(12.0).kind == StepKind::trim_shaft);
  CHECK(next(-12.0).kind == StepKind::tell_hand);
  CHECK(contains(next(-12.0).words, "Cut nothing"));
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

TEST_CASE("rules: a cant told that the pictures deny is said, and against the hand asked about") {
  const auto shown = [](double told_deg, double seen_deg) {
    SetupFacts told = facts();
    told.cant_deg = told_deg;
    SetupRecord record = setup("a", told, -3.0, 0.8);
    for (ClipRecord& clip : record.clips) {
      clip.reading.shots.front().cant_seen_deg = Measured{seen_deg, 2.0};
    }
    return made::judged({record});
  };
  const auto warns = [](const SessionJudgement& judgement) {
    for (const std::string& warning : judgement.setups.front().warnings) {
      if (warning.find("is not what the pictures show") != std::string::npos) {
        return true;
      }
    }
    return false;
  };
  CHECK_FALSE(warns(shown(15.0, 17.0)));
  CHECK(warns(shown(0.0, 31.0)));
  CHECK(shown(0.0, 31.0).next.kind != StepKind::tell_hand);
  // Nothing is moved while the nocking point hangs on which of the two is right.
  CHECK(shown(0.0, 31.0).next.kind == StepKind::tell_cant);
  CHECK(contains(shown(0.0, 31.0).next.words, "+0 deg was told, and the picture shows +31"));
  CHECK(shown(0.0, 31.0).setups.front().nocking_point == NockingPointVerdict::unclear);
  CHECK(shown(15.0, 17.0).next.kind != StepKind::tell_cant);
  // A right-handed archer's bow that leans left: mirrored, or left-handed, whatever cant was told.
  const SessionJudgement against = shown(15.0, -18.0);
  CHECK(warns(against));
  CHECK(against.next.kind == StepKind::tell_hand);
  CHECK(against.setups.front().spine == SpineVerdict::unclear);
}
