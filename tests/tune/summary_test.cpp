#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/statistics.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;
using doctest::Approx;

// docs/measurement.md's check: lat -3.000 at a cant of +15 deg is seen as -2.898, +0.776.
TEST_CASE("reference: shots are judged in the frame of the canted bow") {
  SetupFacts canted = facts();
  canted.cant_deg = 15.0;
  const SessionJudgement judgement = judged({setup("01", canted, -2.898, 0.776, 6, 0.0)});
  REQUIRE(judgement.setups[0].lateral);
  CHECK(judgement.setups[0].lateral->mean_deg == Approx(-3.0).epsilon(1e-3));
  CHECK(std::abs(judgement.setups[0].vertical->mean_deg) < 1e-3);
  CHECK(judgement.setups[0].spine == SpineVerdict::weak);
}

TEST_CASE("unit: a clip's own cant wins over the set-up's") {
  SetupRecord record = setup("01", facts(), -2.898, 0.776, 6, 0.0);
  for (ClipRecord& clip : record.clips) {
    clip.cant_deg = 15.0;
  }
  CHECK(judged({record}).setups[0].lateral->mean_deg == Approx(-3.0).epsilon(1e-3));
}

TEST_CASE("unit: a dropped shot stays in the list with its reason and out of the mean") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0);
  record.clips.push_back(shots(8.0, 0.0, 1)[0]);
  record.clips.back().file = "shot7.mp4";
  record.clips.back().dropped = "plucked";
  const SessionJudgement judgement = judged({record});
  const SetupJudgement& set = judgement.setups[0];
  REQUIRE(set.shots.size() == 7);
  CHECK(set.counted == 6);
  CHECK(set.shots[6].dropped);
  CHECK(set.shots[6].why == "plucked");
  CHECK(set.lateral->mean_deg == Approx(-1.0).epsilon(0.02));
}

TEST_CASE("unit: one shot of a clip of several is dropped, and the others count") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0);
  ClipRecord both = shots(-1.0, 0.0, 1)[0];
  both.file = "both.mp4";
  both.reading.shots.push_back(shots(8.0, 0.0, 1)[0].reading.shots[0]);
  both.dropped_shots[2] = "plucked";
  record.clips.push_back(both);
  const SetupJudgement set = judged({record}).setups[0];
  REQUIRE(set.shots.size() == 8);
  CHECK(set.counted == 7);
  CHECK(set.shots[6].clip == "both.mp4");
  CHECK_FALSE(set.shots[6].dropped);
  CHECK(set.shots[7].clip == "both.mp4#2");
  CHECK(set.shots[7].dropped);
  CHECK(set.shots[7].why == "plucked");
  CHECK(set.lateral->mean_deg == Approx(-1.0).epsilon(0.02));
}

TEST_CASE("unit: an outlier is named, counted and warned of") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0);
  record.clips.push_back(shots(8.0, 0.0, 1)[0]);
  const SessionJudgement judgement = judged({record});
  const SetupJudgement& set = judgement.setups[0];
  CHECK(set.counted == 7);
  CHECK(set.shots[6].outlier);
  CHECK_FALSE(set.shots[6].why.empty());
  CHECK(std::count_if(set.shots.begin(), set.shots.end(),
                      [](const JudgedShot& shot) { return shot.outlier; }) == 1);
  CHECK_FALSE(set.warnings.empty());
  CHECK(set.lateral->mean_deg < 0.0);  // the plain mean would be +0.29
}

TEST_CASE("unit: clips without a number are counted as refused, not finite ones too") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0);
  ClipRecord refused;
  refused.file = "dark.mp4";
  refused.reading.status = ClipStatus::refused;
  record.clips.push_back(refused);
  ClipRecord broken = shots(0.0, 0.0, 1)[0];
  broken.reading.shots[0].nock_right_deg->value = std::numeric_limits<double>::quiet_NaN();
  record.clips.push_back(broken);
  const SetupJudgement set = judged({record}).setups[0];
  CHECK(set.refused == 2);
  CHECK(set.counted == 6);
}

TEST_CASE("unit: a clip of the other hand is left out and says so") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0);
  record.clips[2].hand = Hand::left;
  const SetupJudgement set = judged({record}).setups[0];
  CHECK(set.counted == 5);
  CHECK(set.shots[2].dropped);
  CHECK(set.shots[2].why.find("left-handed") != std::string::npos);
}

TEST_CASE("unit: the second shot of a clip has a name of its own") {
  SetupRecord record = setup("01", facts(), -1.0, 0.0, 2);
  record.clips[0].reading.shots.push_back(record.clips[0].reading.shots[0]);
  const SetupJudgement set = judged({record}).setups[0];
  REQUIRE(set.shots.size() == 3);
  CHECK(set.shots[0].clip == "shot1.mp4");
  CHECK(set.shots[1].clip == "shot1.mp4#2");
}

// The interval holds scatter and measurement together: never narrower than either alone.
TEST_CASE("unit: scatter and measurement both widen the interval") {
  const auto u95 = [](double scatter) {
    return judged({setup("01", facts(), -1.0, 0.0, 6, scatter)}).setups[0].lateral->u95_deg;
  };
  CHECK(u95(0.0) > 0.3 / std::sqrt(6.0));
  CHECK(u95(0.8) > u95(0.2));
}

// What the readings share stays in the mean of any number of shots: told by the reading, else half
// of its variance.
TEST_CASE("unit: what the shots share is not taken away by more of them") {
  const auto summary = [](int count, const std::optional<SharedError>& shared) {
    SetupFacts exact = facts();
    exact.cant_deg = 0.0;
    SetupRecord record = setup("01", exact, 0.0, 0.0, count, 0.0);
    for (ClipRecord& clip : record.clips) {
      clip.reading.shots.front().shared = shared;
    }
    return judged({record}).setups[0];
  };
  const SetupJudgement told = summary(400, SharedError{0.25, 0.1, 0.0});
  CHECK(told.lateral->lasting_u95_deg == Approx(0.25).epsilon(0.01));
  CHECK(told.lateral->u95_deg > 0.25);
  CHECK(told.lateral->u95_deg < 0.27);
  CHECK(told.vertical->u95_deg < 0.13);
  const SetupJudgement untold = summary(400, std::nullopt);
  CHECK(untold.lateral->lasting_u95_deg == Approx(0.3 * std::sqrt(0.5)).epsilon(0.01));
  CHECK(summary(6, SharedError{}).lateral->u95_deg < summary(6, std::nullopt).lateral->u95_deg);
}

// The phone was put up elsewhere where both its fitted place and what stands behind say so.
TEST_CASE("unit: shots filmed from several places share less of their error") {
  const auto filmed_from = [](double above_m, std::uint8_t shade) {
    FilmedFrom from{{0.05, 0.03}, {above_m, 0.04}, {1.4, 0.12}, {}};
    for (int i = 0; i < kBackdropSide * kBackdropSide; ++i) {
      from.backdrop.push_back(static_cast<std::uint8_t>(100 + (i * shade) % 37));
    }
    return from;
  };
  const auto summary = [&](const std::vector<std::optional<FilmedFrom>>& from) {
    SetupFacts exact = facts();
    exact.cant_deg = 0.0;
    SetupRecord record = setup("01", exact, 0.0, 0.0, static_cast<int>(from.size()), 0.0);
    for (std::size_t i = 0; i < from.size(); ++i) {
      record.clips[i].reading.shots.front().shared = SharedError{0.2, 0.1, 0.0};
      record.clips[i].reading.shots.front().filmed_from = from[i];
    }
    return judged({record}).setups[0];
  };
  const FilmedFrom here = filmed_from(0.50, 5);
  const FilmedFrom there = filmed_from(0.65, 11);
  const SetupJudgement stayed = summary({here, here, here, here});
  CHECK(stayed.lateral->lasting_u95_deg == Approx(0.2).epsilon(0.01));
  const SetupJudgement moved = summary({here, there, here, there});
  CHECK(moved.shots[2].place == moved.shots[0].place);
  CHECK(moved.shots[1].place != moved.shots[0].place);
  CHECK(moved.lateral->lasting_u95_deg == Approx(0.2 * std::sqrt(0.75)).epsilon(0.01));
  // A place that is fitted elsewhere before the same backdrop, another backdrop (somebody walked
  // in), a place that is hardly another: as well of one place.
  FilmedFrom slip = there;
  slip.backdrop = here.backdrop;
  FilmedFrom walked_in = here;
  walked_in.backdrop = there.backdrop;
  CHECK(summary({here, slip, walked_in, filmed_from(0.54, 11)}).lateral->lasting_u95_deg ==
        Approx(stayed.lateral->lasting_u95_deg));
  // A reading that does not say so, of an older program.
  CHECK(summary({here, std::nullopt, there, there}).shots[3].place == 0);
}

// Common practice, no source: a bare shaft shows form before it shows tune.
TEST_CASE("rules: bare shafts that scatter carry the form warning") {
  const SetupJudgement wild = judged({setup("01", facts(), -1.0, 0.0, 6, 1.8)}).setups[0];
  CHECK(std::any_of(wild.warnings.begin(), wild.warnings.end(), [](const std::string& warning) {
    return warning.find("bare shaft shows every fault of the loose") != std::string::npos;
  }));
  const SetupJudgement steady = judged({setup("01", facts(), -1.0, 0.0, 6, 0.3)}).setups[0];
  CHECK(steady.warnings.empty());
}
