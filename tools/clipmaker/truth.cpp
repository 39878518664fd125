#include "truth.hpp"

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "arrow_draw.hpp"
#include "view.hpp"

namespace clipmaker {
namespace {

using Json = nlohmann::ordered_json;

// Dividing by a whole number gives the double nearest to the decimal, which prints short.
double rounded(double v, double steps) {
  return std::round(v * steps) / steps;
}

// A mirrored scene shows everything reversed left to right, the truth with it.
Json px(const Eigen::Vector2d& p, double mirror_width) {
  const double x = mirror_width > 0.0 ? mirror_width - 1.0 - p.x() : p.x();
  return Json::array({rounded(x, 1e4), rounded(p.y(), 1e4)});
}
Json metres(const Eigen::Vector3d& p) {
  return Json::array({rounded(p.x(), 1e6), rounded(p.y(), 1e6), rounded(p.z(), 1e6)});
}

const char* name_of(ArrowPhase phase) {
  switch (phase) {
    case ArrowPhase::on_string:
      return "on-string";
    case ArrowPhase::flying:
      return "flying";
    default:
      return "in-butt";
  }
}

Json shot_truth(const ClipSpec& spec, const ShotSpec& shot, const Camera& camera,
                const ArrowFlight& flight, double from_s, double to_s, int frames) {
  const ShotTruth& t = flight.truth();
  const double side = spec.picture.mirror_scene ? -1.0 : 1.0;
  const double mirror = spec.picture.mirror_scene ? camera.width() : 0.0;
  Json json;
  json["nock_right_deg"] = side * t.nock_right_deg;
  json["nock_high_deg"] = t.nock_high_deg;
  json["nock_right_slope_deg_per_m"] = side * t.nock_right_slope_deg_per_m;
  json["nock_high_slope_deg_per_m"] = t.nock_high_slope_deg_per_m;
  json["speed_mps"] = t.speed_mps;
  json["loose_s"] = shot.loose_s;
  json["exit_s"] = t.exit_s;
  json["reference_s"] = t.reference_s;
  json["impact_s"] = t.impact_s > 0.0 ? Json(t.impact_s) : Json(nullptr);
  json["flex"] = {{"frequency_hz", shot.flex_hz},
                  {"amplitude_mm", std::hypot(shot.flex_lateral_mm, shot.flex_vertical_mm)},
                  {"lateral_mm", shot.flex_lateral_mm},
                  {"vertical_mm", shot.flex_vertical_mm},
                  {"damping_ratio", shot.flex_damping_ratio}};
  json["weathercock"] = {{"wavelength_m", shot.wavelength_m},
                         {"damping_ratio", shot.damping_ratio},
                         {"lift_eta_m", shot.lift_eta_m},
                         {"drag_per_m", shot.drag_per_m}};
  json["launch"] = {{"azimuth_deg", side * shot.azimuth_deg},
                    {"elevation_deg", shot.elevation_deg}};
  Json list = Json::array();
  for (int i = 0; i < frames; ++i) {
    const double time = i / spec.picture.fps;
    if (time < from_s || time >= to_s) {
      continue;
    }
    const View view(camera, time);
    const auto seen = [&](double s, bool rigid) {
      return view.rolling(
          [&](double when) {
            const ArrowPose pose = flight.pose(when);
            return rigid ? flight.rigid_point(pose, s) : flight.point(pose, s);
          },
          time);
    };
    const double length = spec.arrow.length_m;
    const auto nock = seen(0.0, false);
    const auto tip = seen(length, false);
    const auto rigid_nock = seen(0.0, true);
    const auto rigid_tip = seen(length, true);
    const ArrowPose pose = flight.pose(time);
    Json row;
    row["index"] = i;
    row["t_s"] = time;
    row["phase"] = name_of(pose.phase);
    row["nock_px"] = nock ? px(nock->px, mirror) : Json(nullptr);
    row["tip_px"] = tip ? px(tip->px, mirror) : Json(nullptr);
    row["rigid_nock_px"] = rigid_nock ? px(rigid_nock->px, mirror) : Json(nullptr);
    row["rigid_tip_px"] = rigid_tip ? px(rigid_tip->px, mirror) : Json(nullptr);
    row["rigid_nock_m"] = metres(flight.rigid_point(pose, 0.0));
    row["rigid_tip_m"] = metres(flight.rigid_point(pose, length));
    list.push_back(std::move(row));
  }
  json["frames"] = std::move(list);
  return json;
}

}  // namespace

Json truth_of(const ClipSpec& spec, const std::string& clip_name, const std::string& command,
              const Camera& camera, const std::vector<ArrowFlight>& flights, int frames) {
  Json json;
  json["schema"] = "nocktrail.truth/1";
  json["clip"] = clip_name;
  json["command"] = command;
  json["kind"] = spec.kind;
  const bool measurable = spec.kind == "shot" || spec.kind == "from-side";
  json["measurable"] = measurable;
  const bool reversed = spec.picture.mirror_scene;
  const bool left_hand = (spec.archer.hand == "left") != reversed;
  json["hand"] = left_hand ? "left" : "right";
  json["cant_deg"] = (reversed ? -1.0 : 1.0) * spec.archer.cant_deg;
  const auto told = [](double value, double truth) { return value > 0.0 ? value : truth; };
  json["told"] = {{"focal_35mm", told(spec.told_focal_35mm, spec.camera.focal_35mm)},
                  {"arrow_length_m", told(spec.told_arrow_length_m, spec.arrow.length_m)}};
  json["capture_fps"] = spec.picture.fps;
  json["frames"] = frames;
  json["display_width"] = camera.width();
  json["display_height"] = camera.height();
  json["rotation_deg"] = spec.picture.rotation_deg;
  json["mirrored"] = spec.picture.mirrored;
  json["mirror_scene"] = spec.picture.mirror_scene;
  json["rest_m"] = {0.0, 0.0, 0.0};
  json["brace_m"] = spec.archer.brace_m;
  json["arrow"] = {{"arrow_length_m", spec.arrow.length_m},
                   {"arrow_length_is", "nock throat to the end of the point"},
                   {"nock_ears_behind_throat_m", spec.arrow.nock_ears_m},
                   {"diameter_m", spec.arrow.diameter_m},
                   {"material", spec.arrow.material},
                   {"fletched", spec.arrow.fletched},
                   {"vane_offset_m", spec.arrow.vane_offset_m},
                   {"vane_length_m", spec.arrow.vane_length_m},
                   {"vane_height_m", spec.arrow.vane_height_m},
                   {"nock_mass_ratio", spec.arrow.nock_mass_ratio},
                   {"tip_mass_ratio", spec.arrow.tip_mass_ratio}};
  const CameraPose& mean = camera.mean_pose();
  Json rotation = Json::array();
  for (int r = 0; r < 3; ++r) {
    rotation.push_back(
        {mean.camera_from_range(r, 0), mean.camera_from_range(r, 1), mean.camera_from_range(r, 2)});
  }
  // Positions, poses and metres are those of the scene before any mirroring.
  json["camera"] = {{"focal_px", camera.focal_px()},
                    {"focal_35mm", spec.camera.focal_35mm},
                    {"height_above_m", spec.camera.height_above_m},
                    {"behind_m", spec.camera.behind_m},
                    {"lateral_m", (reversed ? -1.0 : 1.0) * spec.camera.lateral_m},
                    {"yaw_deg", (reversed ? -1.0 : 1.0) * spec.camera.yaw_deg},
                    {"pitch_deg", spec.camera.pitch_deg},
                    {"roll_deg", (reversed ? -1.0 : 1.0) * spec.camera.roll_deg},
                    {"k1", spec.camera.k1},
                    {"readout_s", spec.camera.readout_s},
                    {"exposure_s", spec.camera.exposure_s},
                    {"shake_deg_per_s", spec.camera.shake_deg_per_s},
                    {"shake_mm", spec.camera.shake_mm},
                    {"position_m", metres(mean.position_m)},
                    {"camera_from_range", rotation}};
  json["conditions"] = {{"look", spec.range.look},
                        {"ground", spec.range.ground},
                        {"far", spec.range.far},
                        {"butt_m", spec.range.butt_m},
                        {"full_well_e", spec.sensor.full_well_e},
                        {"sun", spec.range.sun},
                        {"codec", spec.picture.codec},
                        {"crf", spec.picture.crf},
                        {"bitrate_mbps", spec.picture.bitrate_mbps}};
  Json shots = Json::array();
  if (measurable) {
    for (std::size_t i = 0; i < flights.size(); ++i) {
      // Each shot owns the frames up to half a second before the next loose.
      const double from = i == 0 ? -1.0 : spec.shots[i].loose_s - 0.25;
      const double to = i + 1 < flights.size() ? spec.shots[i + 1].loose_s - 0.25 : 1e9;
      shots.push_back(shot_truth(spec, spec.shots[i], camera, flights[i], from, to, frames));
    }
  }
  json["shots"] = std::move(shots);
  json["spec"] = Json::parse(nlohmann::json(spec).dump());
  return json;
}

}  // namespace clipmaker
