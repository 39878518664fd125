// The truth beside a committed clip, and the options that an archer who knows arrow and phone would
// give for it.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "nocktrail/pipeline/read_clip.hpp"

namespace nocktrail::test {

struct ShotTruth {
  double nock_right_deg = 0.0;
  double nock_high_deg = 0.0;
  double exit_s = 0.0;
  double speed_mps = 0.0;
  std::map<int, Eigen::Vector2d> nock_px;  // by presented frame, where it is in the picture
  std::map<int, Eigen::Vector2d> tip_px;
};

struct ClipTruth {
  std::filesystem::path clip;
  bool measurable = false;
  ReadClipOptions options;  // hand, arrow length and focal length; no cant
  double capture_fps = 0.0;
  double cant_deg = 0.0;
  std::vector<ShotTruth> shots;
};

// All clips of a folder, by name, each with its truth beside it. Fails the test when there are
// none.
std::vector<ClipTruth> clips_in(const std::filesystem::path& folder);
std::vector<ClipTruth> committed_clips(const std::string& folder = {});  // of test-clips
ClipTruth committed_clip(const std::string& name);

}  // namespace nocktrail::test
