// A reading with every field filled, of an invented clip.
#pragma once

#include "nocktrail/reading.hpp"

namespace nocktrail::test {

inline Reading full_reading() {
  Reading r;
  r.clip = {"alder-yard/evening-03.mp4",
            std::string(64, 'a'),
            "hevc",
            1080,
            1920,
            90,
            true,
            std::nullopt,
            480,
            2.0,
            240.0,
            RateSource::tag,
            true};
  r.camera = {1323.8, FocalSource::user};
  r.status = ClipStatus::measured;
  Shot s;
  s.status = ShotStatus::measured;
  s.loose_s = 1.184;
  s.exit_s = 1.200;
  s.nock_right_deg = Measured{-2.41, 0.18};
  s.nock_high_deg = Measured{0.84, 0.62};
  s.nock_right_slope_deg_per_m = Measured{0.11, 0.05};
  s.nock_high_slope_deg_per_m = Measured{-0.07, 0.09};
  s.speed_mps = Measured{52.3, 1.1};
  s.flex = Flex{{73.0, 4.0}, {12.0, 3.0}};
  s.bow = Bow{{15.0, 5.88}, Hand::right, BowSource::told};
  s.in_bow = InBow{15.0, {-2.55, 0.2}, {0.19, 0.6}, 0.0, std::nullopt};
  s.verdict.step = StepKind::film_more;
  s.frames = {{288, 1.2, Eigen::Vector2d(540.25, 1410.5), Eigen::Vector2d(541.0, 1200.0), true},
              {289, 1.204166, std::nullopt, Eigen::Vector2d(541.5, 1150.0), false}};
  s.verdict.spine = SpineVerdict::weak;
  s.verdict.nocking_point = NockingPointVerdict::unclear;
  s.verdict.summary = "Reads weak.";
  s.verdict.next_step = "First film at least three more shots.";
  s.verdict.cautions = {"Local range rules override this advice."};
  r.shots = {s};
  return r;
}

}  // namespace nocktrail::test
