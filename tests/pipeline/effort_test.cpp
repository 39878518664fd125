// How much of a clip is looked at, and how long: what is found early or late, and what is not
// there.
#include <doctest/doctest.h>

#include <cmath>

#include "nocktrail/media/clip.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/units/units.hpp"
#include "shot_from_analysis.hpp"
#include "truth_file.hpp"

using namespace nocktrail;

namespace {

pipeline::AnalysisOptions options_for(const media::Clip& clip, const test::ClipTruth& truth) {
  pipeline::AnalysisOptions options;
  options.focal_px = optics::focal_px_from_35mm(*truth.options.focal_35mm, clip.info().stored_width,
                                                clip.info().stored_height);
  options.focal_relative_sigma = 0.015;
  options.arrow_length_m = truth.options.arrow_length_m;
  return options;
}

pipeline::LookedAt with_effort(double most_ms) {
  pipeline::LookedAt looked;
  looked.effort.most_ms = most_ms;
  return looked;
}

}  // namespace

TEST_CASE("truth: a shot from the side is told for what it is, within its effort") {
  const test::ClipTruth truth = test::committed_clip("from-side/archer-in-view.mp4");
  media::Clip clip = media::Clip::open(truth.clip);
  const pipeline::AnalysisOptions options = options_for(clip, truth);
  pipeline::LookedAt looked = with_effort(3300.0);
  constexpr double kLooseS = 0.158;  // its surge of motion
  const pipeline::ShotAnalysis analysis = pipeline::analyse_loose(clip, kLooseS, options, looked);
  CHECK(looked.noticed.crossing);
  CHECK_FALSE(looked.effort.unlimited);
  if (analysis.outcome == pipeline::Outcome::measured) {
    const Shot shot = pipeline::shot_from(analysis, clip.info());
    CHECK(shot.view == View::side);
    CHECK_FALSE(shot.nock_right_deg);
  }
  // What was begun last is brought to its end: one streak in at most eight rounds.
  CHECK(looked.effort.spent_ms < 3300.0 + 150.0 + 8 * 250.0);
  // The same again costs nothing.
  const double spent_ms = looked.effort.spent_ms;
  CHECK(pipeline::analyse_loose(clip, kLooseS, options, looked).outcome ==
        pipeline::Outcome::nothing);
  CHECK(looked.effort.spent_ms == spent_ms);
}

TEST_CASE("truth: a good shot is measured whatever the effort, and lifts its limit") {
  const test::ClipTruth truth = test::committed_clip("hevc-gravel.mp4");
  media::Clip clip = media::Clip::open(truth.clip);
  pipeline::LookedAt looked = with_effort(0.0);
  const double surge_s = truth.shots.front().exit_s - 0.006;
  const pipeline::ShotAnalysis analysis =
      pipeline::analyse_loose(clip, surge_s, options_for(clip, truth), looked);
  REQUIRE(analysis.outcome == pipeline::Outcome::measured);
  const Shot shot = pipeline::shot_from(analysis, clip.info());
  REQUIRE(shot.status == ShotStatus::measured);
  // Looked at again without each third of its frames; that these are apart is in the interval.
  CHECK(analysis.thirds_lost == 0);
  CHECK(analysis.apart.right_rad > 0.0);
  CHECK(units::deg_from_rad(pipeline::kTwoSided95 * analysis.apart.right_rad) <
        shot.nock_right_deg->u95);
  CHECK_FALSE(looked.noticed.crossing);
  CHECK(looked.effort.may_go_on());
}

// Limbs and string surge 0.57 of the way through a power stroke of some 14 ms, 6 ms before the
// exit; here that is found when the archer still stands at full draw.
TEST_CASE("truth: a surge that was found too early does not refuse a flight that fits") {
  for (const char* name : {"hevc-gravel.mp4", "portrait-right.mp4"}) {
    CAPTURE(name);
    const test::ClipTruth truth = test::committed_clip(name);
    media::Clip clip = media::Clip::open(truth.clip);
    pipeline::LookedAt looked = with_effort(1e9);
    const double early_s = truth.shots.front().exit_s - 0.022;
    const pipeline::ShotAnalysis analysis =
        pipeline::analyse_loose(clip, early_s, options_for(clip, truth), looked);
    REQUIRE(analysis.outcome == pipeline::Outcome::measured);
    CHECK(analysis.surge_s > early_s + pipeline::kLatestLooseS);
    const Shot shot = pipeline::shot_from(analysis, clip.info());
    CAPTURE(shot.reason);
    REQUIRE(shot.status == ShotStatus::measured);
    CHECK(std::abs(shot.nock_right_deg->value - truth.shots.front().nock_right_deg) < 0.5);
    CHECK(std::abs(*shot.exit_s - truth.shots.front().exit_s) < 0.006);
  }
}
