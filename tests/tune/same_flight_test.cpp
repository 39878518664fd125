// One shot that lies in a session under several names counts once. The flights are made up: a nock
// and a point that go off toward a vanishing point, as an arrow seen from behind does.
#include "nocktrail/tune/same_flight.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <string>
#include <vector>

#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

constexpr double kLonger_px = 1920.0;

struct Film {
  double aim_right_deg = 0.0;
  double aim_down_deg = 0.0;
  double phase = 0.0;  // of a frame, when the arrow leaves
  int first_frame = 40;
  double noise_px = 0.3;
  double scale = 1.0;
  unsigned seed = 1;
  std::uint8_t body = 90;  // brightness where the archer stands
};

// Perspective of an arrow of 0.76 m at 50 m/s, filmed 240 times a second from 1.4 m behind.
Shot filmed(const Film& film) {
  constexpr double kFocal_px = 1400.0;
  std::mt19937 random(film.seed);
  std::normal_distribution<double> noise(0.0, film.noise_px);
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = Measured{-3.0, 0.3};
  shot.nock_high_deg = Measured{0.1, 0.6};
  for (int k = 0; k < 20; ++k) {
    const double nock_m = 1.4 + 50.0 * (k + film.phase) / 240.0;
    const auto at = [&](double z_m) {
      const double x_m = std::tan(film.aim_right_deg * M_PI / 180.0) * (z_m - 1.4);
      const double y_m = std::tan(film.aim_down_deg * M_PI / 180.0) * (z_m - 1.4);
      return Eigen::Vector2d(film.scale * (960.0 + kFocal_px * x_m / z_m + noise(random)),
                             film.scale * (540.0 + kFocal_px * (0.5 + y_m) / z_m + noise(random)));
    };
    FrameObservation frame;
    frame.index = film.first_frame + k;
    frame.t_s = (film.first_frame + k) / 240.0;
    frame.nock_px = at(nock_m);
    frame.tip_px = at(nock_m + 0.76);
    frame.used = true;
    shot.frames.push_back(frame);
  }
  FilmedFrom from;
  from.backdrop.assign(static_cast<std::size_t>(kBackdropSide) * kBackdropSide, 140);
  std::fill_n(from.backdrop.begin() + 200, 60, film.body);
  shot.filmed_from = from;
  return shot;
}

bool same(const Film& a, const Film& b) {
  return same_flight(filmed(a), kLonger_px * a.scale, filmed(b), kLonger_px * b.scale);
}

ClipRecord clip(const std::string& file, const Film& film, double u95_deg = 0.3) {
  ClipRecord record;
  record.file = file;
  record.reading.status = ClipStatus::measured;
  record.reading.clip.width = static_cast<int>(1920 * film.scale);
  record.reading.clip.height = static_cast<int>(1080 * film.scale);
  record.reading.shots.push_back(filmed(film));
  record.reading.shots.front().nock_right_deg->u95 = u95_deg;
  return record;
}

}  // namespace

TEST_CASE("unit: a film that was cut, recoded or made smaller shows the same flight") {
  CHECK(same({}, {.seed = 2}));
  CHECK(same({}, {.first_frame = 12, .seed = 2}));              // cut at its begin
  CHECK(same({}, {.noise_px = 1.0, .scale = 0.5, .seed = 2}));  // as a messenger sends it
  CHECK(same({}, {.seed = 2, .body = 96}));                     // recoded a little brighter
}

TEST_CASE("unit: another shot from the same stand is another flight") {
  CHECK_FALSE(same({}, {.aim_right_deg = 0.4, .seed = 2}));  // a good archer's scatter
  CHECK_FALSE(same({}, {.phase = 0.3, .seed = 2}));          // another instant within the frame
  CHECK_FALSE(same({}, {.seed = 2, .body = 140}));           // the archer stands otherwise
  // Thirty shots of an archer who scatters by a third of a degree each way, the phone on a stand
  // and the archer like a rock, so that only the flights tell them apart.
  std::mt19937 random(5);
  std::normal_distribution<double> aim(0.0, 0.33);
  std::uniform_real_distribution<double> phase(0.0, 1.0);
  std::vector<Shot> shots;
  for (unsigned k = 0; k < 30; ++k) {
    shots.push_back(filmed({.aim_right_deg = aim(random),
                            .aim_down_deg = aim(random),
                            .phase = phase(random),
                            .seed = 10 + k}));
  }
  int taken = 0;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    for (std::size_t k = 0; k < i; ++k) {
      taken += same_flight(shots[i], kLonger_px, shots[k], kLonger_px) ? 1 : 0;
    }
  }
  CHECK(taken <= 13);  // 3 % of 435 pairs; the archer's own stand tells those apart
}

TEST_CASE("unit: readings that do not say where the arrow was are never taken for one another") {
  Shot blank = filmed({});
  blank.frames.clear();
  CHECK_FALSE(same_flight(blank, kLonger_px, blank, kLonger_px));
}

TEST_CASE("rules: copies of one shot are one shot, and nothing is cut on their word") {
  SetupRecord copies{"01", facts(), {}};
  for (unsigned k = 0; k < 6; ++k) {
    copies.clips.push_back(clip(fmt::format("IMG_{}.mp4", k + 1),
                                {.first_frame = 40 - 3 * static_cast<int>(k), .seed = k}, 0.3));
  }
  copies.clips[3].reading.shots.front().nock_right_deg->u95 = 0.25;
  SessionRecord record = session({copies});
  const SessionJudgement trusted = judge_session(record, quick());
  CHECK(trusted.setups.front().counted == 6);  // what is to be prevented
  const std::vector<std::string> lines = count_each_flight_once(record);
  REQUIRE(lines.size() == 5);
  CHECK(contains(lines.front(), "shows the same flight as 01/IMG_4.mp4, and is counted once"));
  const SessionJudgement judgement = judge_session(record, quick());
  CHECK(judgement.setups.front().counted == 1);
  CHECK(judgement.next.kind == StepKind::film_more);
  for (const JudgedShot& shot : judgement.setups.front().shots) {
    CHECK(shot.dropped == (shot.clip != "IMG_4.mp4"));
  }
}

TEST_CASE("rules: a copy of a shot that the archer left out is left out as well") {
  SetupRecord two{"01", facts(), {clip("a.mp4", {}, 0.2), clip("b.mp4", {.seed = 3}, 0.4)}};
  two.clips[1].dropped = "plucked";
  SessionRecord record = session({two});
  const std::vector<std::string> lines = count_each_flight_once(record);
  REQUIRE(lines.size() == 1);
  CHECK(contains(lines.front(), "01/a.mp4: shows the same flight as 01/b.mp4"));
  CHECK(judge_session(record, quick()).setups.front().counted == 0);
}

TEST_CASE("unit: two shots of one clip stay two") {
  ClipRecord one = clip("a.mp4", {});
  one.reading.shots.push_back(filmed({.seed = 9}));
  SessionRecord record = session({SetupRecord{"01", facts(), {one}}});
  CHECK(count_each_flight_once(record).empty());
}
