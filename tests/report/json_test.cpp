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

// The keys of schema nocktrail.reading/2, typed from docs/measurement.md.
const Names kTop{"schema", "clip", "camera", "status", "reason", "shots"};
const Names kClip{"path",     "sha256",       "codec",       "width",
                  "height",   "rotation_deg", "mirrored",    "picture_mirrored",
                  "frames",   "duration_s",   "capture_fps", "capture_fps_source",
                  "cut_short"};
const Names kCamera{"focal_px", "focal_source"};
const Names kShot{"status",
                  "reason",
                  "view",
                  "by",
                  "loose_s",
                  "exit_s",
                  "nock_right_deg",
                  "nock_high_deg",
                  "correlation",
                  "correlation_shared",
                  "nock_right_slope_deg_per_m",
                  "nock_high_slope_deg_per_m",
                  "filmed_from",
                  "speed_mps",
                  "flex",
                  "cant_seen_deg",
                  "bow",
                  "in_bow",
                  "frames",
                  "verdict"};
const Names kMeasured{"value", "u95"};
const Names kFrame{"index", "t_s", "nock_px", "tip_px", "used"};
const Names kAngle{"value", "u95", "u95_shared"};
const Names kVerdict{"spine", "nocking_point", "summary", "step"};

}  // namespace

TEST_CASE("reference: every key of the schema, in its order, and no other") {
  const Json j = Json::parse(text_of(test::full_reading()));
  CHECK(keys(j) == kTop);
  CHECK(j["schema"] == "nocktrail.reading/2");
  CHECK(keys(j["clip"]) == kClip);
  CHECK(keys(j["camera"]) == kCamera);
  const Json& s = j["shots"][0];
  CHECK(keys(s) == kShot);
  for (const char* name :
       {"nock_right_slope_deg_per_m", "nock_high_slope_deg_per_m", "speed_mps"}) {
    CHECK(keys(s[name]) == kMeasured);
  }
  CHECK(keys(s["nock_right_deg"]) == kAngle);
  CHECK(keys(s["nock_high_deg"]) == kAngle);
  CHECK(keys(s["bow"]) == Names{"cant_deg", "hand", "source"});
  CHECK(s["bow"]["source"] == "told");
  CHECK(s["view"] == "behind");
  CHECK(s["by"] == "program");
  CHECK(s["verdict"]["step"] == "film-more");
  CHECK(keys(s["flex"]) == Names{"frequency_hz", "amplitude_mm"});
  CHECK(keys(s["in_bow"]) ==
        Names{"cant_deg", "nock_right_deg", "nock_high_deg", "correlation", "correlation_shared"});
  CHECK(keys(s["in_bow"]["nock_right_deg"]) == kAngle);
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

TEST_CASE(
    "unit: a cant seen by a program that writes no more than the schema is one that was seen") {
  Json j = Json::parse(text_of(test::full_reading()));
  Json& shot = j["shots"][0];
  shot.erase("cant_seen_deg");
  shot["bow"]["source"] = "seen";
  shot["bow"]["cant_deg"] = {{"value", 12.0}, {"u95", 2.0}};
  CHECK(readings_from_json(j.dump(), "test").front().shots.front().cant_seen_deg->value == 12.0);
  shot["bow"]["source"] = "told";
  CHECK_FALSE(readings_from_json(j.dump(), "test").front().shots.front().cant_seen_deg);
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
    const bool filled =
        name == "status" || name == "frames" || name == "verdict" || name == "view" || name == "by";
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

TEST_CASE("unit: the correlation and the shared part come back") {
  Reading r = test::full_reading();
  r.shots[0].right_high_correlation = 0.25;
  r.shots[0].shared = SharedError{0.1, 0.4, -0.5};
  r.clip.picture_mirrored = true;
  const Reading back = readings_from_json(text_of(r), "test").at(0);
  CHECK(back.shots[0].right_high_correlation == 0.25);
  REQUIRE(back.shots[0].shared);
  CHECK(back.shots[0].shared->high_u95_deg == 0.4);
  CHECK(back.shots[0].shared->correlation == -0.5);
  CHECK(back.clip.picture_mirrored == true);
}

TEST_CASE("unit: from where a shot was filmed comes back; half of it is none") {
  Reading r = test::full_reading();
  FilmedFrom from{{0.05, 0.03}, {0.5, 0.04}, {1.4, 0.12}, {}};
  for (int i = 0; i < kBackdropSide * kBackdropSide; ++i) {
    from.backdrop.push_back(static_cast<std::uint8_t>(i % 256));
  }
  r.shots[0].filmed_from = from;
  const Reading back = readings_from_json(text_of(r), "test").at(0);
  REQUIRE(back.shots[0].filmed_from);
  CHECK(back.shots[0].filmed_from->above_m.value == 0.5);
  CHECK(back.shots[0].filmed_from->backdrop == from.backdrop);
  r.shots[0].filmed_from->backdrop.resize(7);
  CHECK_FALSE(readings_from_json(text_of(r), "test").at(0).shots[0].filmed_from);
}

TEST_CASE("unit: from the side the shared part of the height comes back alone") {
  Reading reading = test::full_reading();
  Shot& shot = reading.shots.front();
  shot.view = View::side;
  shot.nock_right_deg.reset();
  shot.in_bow.reset();
  shot.shared = SharedError{0.0, 0.22, 0.0};
  const Reading back = readings_from_json(text_of(reading), "test").front();
  REQUIRE(back.shots.front().shared);
  CHECK(back.shots.front().shared->high_u95_deg == 0.22);
}

TEST_CASE("unit: a reading of the schema before is still read") {
  // As nocktrail 0.1 wrote it, by the list of keys that docs/measurement.md had then.
  const std::string old = R"({"schema": "nocktrail.reading/1",
    "clip": {"path": "a.mp4", "sha256": null, "codec": "h264", "width": 1080, "height": 1920,
             "rotation_deg": 90, "mirrored": false, "frames": 10, "duration_s": 0.04,
             "capture_fps": 240, "capture_fps_source": "tag"},
    "camera": {"focal_px": 1300.0, "focal_source": "assumed"},
    "status": "measured", "reason": null,
    "shots": [{"status": "measured", "reason": null, "loose_s": 0.01, "exit_s": 0.02,
      "nock_right_deg": {"value": -2.0, "u95": 0.2}, "nock_high_deg": {"value": 0.5, "u95": 0.8},
      "nock_right_slope_deg_per_m": null, "nock_high_slope_deg_per_m": null, "speed_mps": null,
      "flex": null,
      "in_bow": {"cant_deg": 10.0, "nock_right_deg": {"value": -2.1, "u95": 0.2},
                 "nock_high_deg": {"value": 0.1, "u95": 0.8}},
      "frames": [],
      "verdict": {"spine": "weak", "nocking_point": "unclear", "summary": "Reads weak."}}]})";
  const Reading r = readings_from_json(old, "old.json").at(0);
  REQUIRE(r.shots.size() == 1);
  CHECK(r.shots[0].nock_right_deg->value == -2.0);
  CHECK(r.shots[0].in_bow->cant_deg == 10.0);
  CHECK_FALSE(r.shots[0].bow);
  CHECK_FALSE(r.shots[0].shared);
  CHECK(r.shots[0].verdict.step == StepKind::none);
}

TEST_CASE("fault: a schema from later on is named, not misread") {
  std::string later = text_of(test::full_reading());
  later.replace(later.find("reading/2"), 9, "reading/3");
  try {
    readings_from_json(later, "later.json");
    FAIL("was read");
  } catch (const BadInput& problem) {
    CHECK(std::string(problem.what()).find("nocktrail.reading/3") != std::string::npos);
  }
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
