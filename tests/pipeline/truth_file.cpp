#include "truth_file.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>
#include <nlohmann/json.hpp>

namespace nocktrail::test {
namespace fs = std::filesystem;

namespace {

Eigen::Vector2d point(const nlohmann::json& pair) {
  return {pair.at(0).get<double>(), pair.at(1).get<double>()};
}

ClipTruth read_truth(const fs::path& clip) {
  fs::path file = clip;
  file.replace_extension(".truth.json");
  std::ifstream in(file);
  const nlohmann::json j = nlohmann::json::parse(in);
  ClipTruth truth;
  truth.clip = clip;
  truth.measurable = j.at("measurable");
  truth.options.hand = j.at("hand") == "left" ? Hand::left : Hand::right;
  truth.options.arrow_length_m = j.at("arrow").at("arrow_length_m");
  truth.options.focal_35mm = j.at("camera").at("focal_35mm");
  truth.capture_fps = j.at("capture_fps");
  truth.cant_deg = j.at("cant_deg");
  for (const nlohmann::json& s : j.at("shots")) {
    ShotTruth shot;
    shot.nock_right_deg = s.at("nock_right_deg");
    shot.nock_high_deg = s.at("nock_high_deg");
    shot.exit_s = s.at("exit_s");
    shot.speed_mps = s.at("speed_mps");
    for (const nlohmann::json& frame : s.at("frames")) {
      const int index = frame.at("index");
      if (frame.at("nock_px").is_array()) {
        shot.nock_px[index] = point(frame["nock_px"]);
      }
      if (frame.at("tip_px").is_array()) {
        shot.tip_px[index] = point(frame["tip_px"]);
      }
    }
    truth.shots.push_back(std::move(shot));
  }
  return truth;
}

}  // namespace

std::vector<ClipTruth> clips_in(const fs::path& folder) {
  std::vector<fs::path> paths;
  for (const auto& entry : fs::directory_iterator(folder)) {
    if (entry.path().extension() == ".mp4") {
      paths.push_back(entry.path());
    }
  }
  REQUIRE_FALSE(paths.empty());
  std::sort(paths.begin(), paths.end());
  std::vector<ClipTruth> clips;
  for (const fs::path& path : paths) {
    clips.push_back(read_truth(path));
  }
  return clips;
}

std::vector<ClipTruth> committed_clips(const std::string& folder) {
  return clips_in(fs::path(NOCKTRAIL_TEST_CLIPS) / folder);
}

ClipTruth committed_clip(const std::string& name) {
  return read_truth(fs::path(NOCKTRAIL_TEST_CLIPS) / name);
}

}  // namespace nocktrail::test
