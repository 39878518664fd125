#include "scene.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "bow_draw.hpp"
#include "light.hpp"
#include "view.hpp"

namespace clipmaker {
namespace {

using Json = nlohmann::ordered_json;

constexpr int kInstants = 5;
constexpr int kStations = 25;          // along the arrow
constexpr double kBowStills_s = 0.07;  // after the loose

Json metres(const Eigen::Vector3d& p) {
  return Json::array({p.x(), p.y(), p.z()});
}

Json matrix(const Eigen::Matrix3d& m) {
  Json rows = Json::array();
  for (int r = 0; r < 3; ++r) {
    rows.push_back({m(r, 0), m(r, 1), m(r, 2)});
  }
  return rows;
}

Json edges(const Bow& bow, const BowState& state, const std::vector<Bow::Rib>& ribs) {
  Json list = Json::array();
  for (const Bow::Rib& rib : ribs) {
    list.push_back({metres(bow.place(state, rib.left, rib.up, rib.z)),
                    metres(bow.place(state, rib.right, rib.up, rib.z))});
  }
  return list;
}

Json body(const ClipSpec& spec, const Bow& bow, const ArrowFlight& flight, double t) {
  const double side = spec.archer.hand == "left" ? -1.0 : 1.0;
  const ArrowPose pose = flight.pose(t);
  Json arrow = Json::array();
  for (int i = 0; i < kStations; ++i) {
    const double s = -spec.arrow.nock_ears_m +
                     (spec.arrow.length_m + spec.arrow.nock_ears_m) * i / (kStations - 1);
    arrow.push_back(metres(flight.point(pose, s)));
  }
  // The bow comes to rest, so that one picture serves for all that follow.
  const double on = std::min(t, flight.loose_s() + kBowStills_s);
  const double after = std::max(0.0, on - flight.exit_s());
  const double jump = 1.0 - std::exp(-after / 0.03);
  const Eigen::Vector3d hand = jump * Eigen::Vector3d(-side * 0.012, 0.018, 0.03);
  const BowState state = bow.state(flight, on, hand);
  const double back = 1.0 - std::exp(-std::max(0.0, on - flight.loose_s()) / 0.05);
  Json string = Json::array();
  for (const Eigen::Vector3d& p : bow.string_path(state)) {
    string.push_back(metres(p));
  }
  return {{"arrow", arrow},
          {"roll_rad", pose.roll_rad},
          {"riser", edges(bow, state, bow.riser_ribs())},
          {"upper", edges(bow, state, bow.limb_ribs(state, 1.0))},
          {"lower", edges(bow, state, bow.limb_ribs(state, -1.0))},
          {"string", string},
          {"bow_hand", metres(hand)},
          {"string_hand", metres(back * back * Eigen::Vector3d(side * 0.06, 0.015, -0.13))}};
}

}  // namespace

Json scene_of(const ClipSpec& spec, const Camera& camera, const ArrowFlight& flight, int frames) {
  const Bow bow(spec, Light::of(spec.range, spec.sensor.brightness));
  const double fps = spec.picture.fps;
  const double open = camera.spec().readout_s + camera.spec().exposure_s;
  const double over = flight.truth().impact_s > 0.0 ? flight.truth().impact_s : spec.duration_s;
  Json json;
  json["schema"] = "nocktrail.scene/1";
  json["frames"] = frames;
  json["focal_px"] = camera.focal_px();
  json["position_m"] = metres(camera.mean_pose().position_m);
  json["camera_from_range"] = matrix(camera.mean_pose().camera_from_range);
  json["bow_still_s"] = kBowStills_s;  // after the loose
  json["nock_at_full_draw"] = metres(flight.point(flight.pose(flight.loose_s() - 1e-6), 0.0));
  Json moving = Json::array();
  for (int i = 0; i < frames; ++i) {
    const double t = i / fps;
    if (t < flight.loose_s() - open || t > over + 3.0 / fps) {
      continue;
    }
    Json bodies = Json::array();
    for (int k = 0; k < kInstants; ++k) {
      bodies.push_back(body(spec, bow, flight, t + open * (k / (kInstants - 1.0) - 0.5)));
    }
    moving.push_back({{"index", i}, {"t_s", t}, {"instants", bodies}});
  }
  json["moving"] = moving;
  // The camera's shake, as turns of the picture: each frame's rows at their own times.
  Json shake = Json::array();
  for (int i = 0; i < frames; ++i) {
    Json rows = Json::array();
    for (int k = 0; k < kInstants; ++k) {
      const double t = i / fps + camera.spec().readout_s * (k / (kInstants - 1.0) - 0.5);
      rows.push_back(matrix(camera.pose(t).camera_from_range *
                            camera.mean_pose().camera_from_range.transpose()));
    }
    shake.push_back(rows);
  }
  json["shake"] = shake;
  json["spec"] = Json::parse(nlohmann::json(spec).dump());
  return json;
}

}  // namespace clipmaker
