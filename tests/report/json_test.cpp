#include "nocktrail/report/json.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "example_reading.hpp"
#include "nocktrail/error.hpp"

using namespace nocktrail;
using namespace nocktrail::report;
using Json = nlohmann::ordered_json;

namespace {

std::string text_of(const Reading& r) {
  return json_text(std::vector<Reading>{r});
}

std::vector<std::string> keys(const Json& object) {
  std::vector<std::string> names;
  for (const auto& item : object.items()) {
    names.push_back(item.key());
  }
  return names;
}

using Names = std::vector<std::string>;

// The keys of schema nocktrail.reading/1, typed from docs/measurement.md.
const Names kTop{"schema", "clip", "camera", "status", "reason", "shots"};
const Names kClip{"path",
                  "sha256",
                  "codec",
                  "width",
                  "height",
                  "rotation_deg",
                  "mirrored",
                  "frames",
                  "duration_s",
                  "capture_fps",
                  "capture_fps_source",
                  "cut_short"};
const Names kCamera{"focal_px", "focal_source"};
const Names kShot{"status",
                  "reason",
                  "loose_s",
                  "exit_s",
                  "nock_right_deg",
                  "nock_high_deg",
                  "nock_right_slope_deg_per_m",
                  "nock_high_slope_deg_per_m",
                  "speed_mps",
                  "flex",
                  "in_bow",
                  "frames",
                  "verdict"};
const Names kMeasured{"value", "u95"};
const Names kFrame{"index", "t_s", "nock_px", "tip_px", "used"};
const Names kVerdict{"spine", "nocking_point", "summary"};

}  // namespace

TEST_CASE("reference: every key of the schema, in its order, and no other") {
  const Json j = Json::parse(text_of(test::full_reading()));
  CHECK(keys(j) == kTop);
  CHECK(j["schema"] == "nocktrail.reading/1");
  CHECK(keys(j["clip"]) == kClip);
  CHECK(keys(j["camera"]) == kCamera);
  const Json& s = j["shots"][0];
  CHECK(keys(s) == kShot);
  for (const char* name : {"nock_right_deg", "nock_high_deg", "nock_right_slope_deg_per_m",
                           "nock_high_slope_deg_per_m", "speed_mps"}) {
    CHECK(keys(s[name]) == kMeasured);
  }
  CHECK(keys(s["flex"]) == Names{"frequency_hz", "amplitude_mm"});
  CHECK(keys(s["in_bow"]) == Names{"cant_deg", "nock_right_deg", "nock_high_deg"});
  CHECK(keys(s["in_bow"]["nock_right_deg"]) == kMeasured);
  CHECK(keys(s["frames"][0]) == kFrame);
  CHECK(keys(s["verdict"]) == kVerdict);
  CHECK(s["nock_right_deg"]["value"] == -2.41);
  CHECK(s["nock_right_deg"]["u95"] == 0.18);
  CHECK(s["frames"][0]["nock_px"] == Json::array({540.25, 1410.5}));
  CHECK(s["frames"][1]["nock_px"].is_null());
  CHECK(j["clip"]["capture_fps_source"] == "tag");
  CHECK(j["clip"]["cut_short"] == true);
  CHECK(j["camera"]["focal_source"] == "user");
}

TEST_CASE("unit: a reading from before files were looked at for their end reads as whole") {
  Json j = Json::parse(text_of(test::full_reading()));
  CHECK(readings_from_json(j.dump(), "test").front().clip.cut_short);
  j["clip"].erase("cut_short");
  CHECK_FALSE(readings_from_json(j.dump(), "test").front().clip.cut_short);
}

TEST_CASE("unit: what is unknown is null and its key is still there") {
  Reading r;
  r.clip.path = "gone.mp4";
  r.status = ClipStatus::error;
  r.reason = "gone.mp4: there is no such file.";
  r.shots.emplace_back();
  const Json j = Json::parse(text_of(r));
  CHECK(keys(j) == kTop);
  CHECK(keys(j["clip"]) == kClip);
  for (const std::string& name : kClip) {
    CAPTURE(name);
    CHECK(j["clip"][name].is_null() == (name != "path"));
  }
  CHECK(j["camera"]["focal_px"].is_null());
  CHECK(j["camera"]["focal_source"].is_null());
  CHECK(j["status"] == "error");
  const Json& s = j["shots"][0];
  CHECK(keys(s) == kShot);
  for (const std::string& name : kShot) {
    CAPTURE(name);
    const bool filled = name == "status" || name == "frames" || name == "verdict";
    CHECK(s[name].is_null() == !filled);
  }
  CHECK(s["frames"].empty());
  CHECK(s["verdict"]["spine"] == "unclear");
}

TEST_CASE("unit: the words of every enumeration") {
  Reading r = test::full_reading();
  const auto written = [&](const char* a, const char* b) { return Json::parse(text_of(r))[a][b]; };
  const auto status = [&](ClipStatus s) {
    r.status = s;
    return Json::parse(text_of(r))["status"].get<std::string>();
  };
  CHECK(status(ClipStatus::measured) == "measured");
  CHECK(status(ClipStatus::no_shot) == "no-shot");
  CHECK(status(ClipStatus::refused) == "refused");
  CHECK(status(ClipStatus::error) == "error");
  r.clip.capture_fps_source = RateSource::container;
  CHECK(written("clip", "capture_fps_source") == "container");
  r.clip.capture_fps_source = RateSource::user;
  CHECK(written("clip", "capture_fps_source") == "user");
  r.camera.source = FocalSource::calibration;
  CHECK(written("camera", "focal_source") == "calibration");
  r.camera.source = FocalSource::assumed;
  CHECK(written("camera", "focal_source") == "assumed");
}

TEST_CASE("fault: numbers that are none never reach the file") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const double inf = std::numeric_limits<double>::infinity();
  Reading r = test::full_reading();
  r.shots[0].nock_right_deg = Measured{nan, 0.1};
  r.shots[0].speed_mps = Measured{50.0, inf};
  r.shots[0].exit_s = -inf;
  r.shots[0].frames[0].nock_px = Eigen::Vector2d(nan, 1.0);
  r.clip.duration_s = nan;
  const std::string text = text_of(r);
  CHECK(text.find("nan") == std::string::npos);
  CHECK(text.find("inf") == std::string::npos);
  const Json j = Json::parse(text);
  CHECK(j["shots"][0]["nock_right_deg"].is_null());
  CHECK(j["shots"][0]["speed_mps"].is_null());
  CHECK(j["shots"][0]["exit_s"].is_null());
  CHECK(j["shots"][0]["frames"][0]["nock_px"].is_null());
  CHECK(j["clip"]["duration_s"].is_null());
}

TEST_CASE("fault: a path that is not UTF-8 still gives JSON") {
  Reading r = test::full_reading();
  r.clip.path = "caf\xe9.mp4";
  CHECK(Json::parse(text_of(r))["clip"]["path"] == "caf\xef\xbf\xbd.mp4");
}

TEST_CASE("unit: one clip is an object, several are an array") {
  const Reading r = test::full_reading();
  CHECK(Json::parse(json_text(std::vector<Reading>{r})).is_object());
  CHECK(Json::parse(json_text(std::vector<Reading>{r, r})).size() == 2);
  CHECK(Json::parse(json_text(std::vector<Reading>{})).is_array());
}

TEST_CASE("unit: what is written can be read back") {
  Reading empty;
  empty.status = ClipStatus::error;
  empty.reason = "nothing there";
  const std::string text = json_text(std::vector<Reading>{test::full_reading(), empty});
  const std::vector<Reading> back = readings_from_json(text, "test");
  REQUIRE(back.size() == 2);
  CHECK(json_text(back) == text);
  CHECK(back[0].clip.mirrored);
  CHECK(back[0].clip.frames == 480);
  CHECK(back[0].shots[0].in_bow->nock_right_deg.value == -2.55);
  CHECK(back[0].shots[0].frames[0].tip_px->y() == 1200.0);
  CHECK(back[1].status == ClipStatus::error);
}

TEST_CASE("fault: text that is no reading is refused by name") {
  const std::string good = text_of(test::full_reading());
  std::vector<std::string> bad{"", "{", "[1]", "null", "{\"schema\": \"other/1\"}", "\xff"};
  std::string wrong_word = good;
  wrong_word.replace(wrong_word.find("\"weak\""), 6, "\"limp\"");
  bad.push_back(wrong_word);
  std::string wrong_type = good;
  wrong_type.replace(wrong_type.find("-2.41"), 5, "\"two\"");
  bad.push_back(wrong_type);
  std::string huge = good;
  huge.replace(huge.find("\"index\": 288"), 12, "\"index\": 1e23");
  bad.push_back(huge);
  bad.push_back(good.substr(0, good.size() / 2));
  for (const std::string& text : bad) {
    CAPTURE(text);
    try {
      readings_from_json(text, "morning.json");
      FAIL("was taken for a reading");
    } catch (const BadInput& problem) {
      const std::string what = problem.what();
      CHECK(what.find("morning.json") == 0);
      CHECK(what.find('\n') == std::string::npos);
    }
  }
}
