#include "stroke.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <fstream>
#include <nlohmann/json.hpp>
#include <numbers>
#include <stdexcept>

namespace clipmaker {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
// A bare shaft hardly turns in the air; so long a swing is straight over a flight.
constexpr double kLongestWave_m = 1000.0;

Stroke::Plane read_plane(const nlohmann::json& json) {
  Stroke::Plane plane;
  json.at("reference_offset_deg").get_to(plane.reference_offset_deg);
  json.at("reference_slope_deg_per_m").get_to(plane.reference_slope_deg_per_m);
  json.at("clear_path_deg").get_to(plane.clear_path_deg);
  json.at("flex").at("amplitude_mm").get_to(plane.flex_mm);
  json.at("flex").at("phase_deg").get_to(plane.flex_phase_deg);
  const nlohmann::json& history = json.at("history");
  history.at("centre_mm").get_to(plane.centre_mm);
  history.at("axis_deg").get_to(plane.axis_deg);
  history.at("flex_nock_mm").get_to(plane.flex_nock_mm);
  const nlohmann::json& flight = json.at("flight");
  flight.at("path_m").get_to(plane.path_m);
  flight.at("offset_deg").get_to(plane.offset_deg);
  flight.at("slope_deg_per_m").get_to(plane.slope_deg_per_m);
  return plane;
}

Stroke read(const nlohmann::json& json) {
  if (json.at("schema") != "nocktrail.exit-state/1") {
    throw std::runtime_error("its schema is not nocktrail.exit-state/1");
  }
  Stroke stroke;
  json.at("hand").get_to(stroke.hand);
  json.at("brace_m").get_to(stroke.brace_m);
  json.at("speed_mps").get_to(stroke.speed_mps);
  json.at("exit_s").get_to(stroke.exit_s);
  json.at("flex_frequency_hz").get_to(stroke.flex_hz);
  json.at("flex_damping_ratio").get_to(stroke.flex_damping_ratio);
  const nlohmann::json& arrow = json.at("arrow");
  const double shaft_kg = arrow.at("shaft_mass_kg").get<double>();
  const double fletching_kg = arrow.at("fletching_mass_kg").get<double>();
  arrow.at("shaft_length_m").get_to(stroke.arrow.length_m);
  arrow.at("diameter_m").get_to(stroke.arrow.diameter_m);
  // The fletching sits a hand's breadth from the nock; here it rides on it.
  stroke.arrow.nock_mass_ratio = (arrow.at("nock_mass_kg").get<double>() + fletching_kg) / shaft_kg;
  stroke.arrow.tip_mass_ratio = arrow.at("tip_mass_kg").get<double>() / shaft_kg;
  stroke.fletched = fletching_kg > 0.0;
  json.at("yaw").at("equivalent_kappa_per_m").get_to(stroke.kappa_per_m);
  json.at("yaw").at("equivalent_damping_ratio").get_to(stroke.damping_ratio);
  json.at("history").at("t_s").get_to(stroke.t_s);
  json.at("history").at("rest_from_nock_m").get_to(stroke.rest_from_nock_m);
  stroke.lateral = read_plane(json.at("lateral"));
  stroke.vertical = read_plane(json.at("vertical"));
  const std::size_t n = stroke.t_s.size();
  for (const auto* column :
       {&stroke.rest_from_nock_m, &stroke.lateral.centre_mm, &stroke.lateral.axis_deg,
        &stroke.lateral.flex_nock_mm, &stroke.vertical.centre_mm, &stroke.vertical.axis_deg,
        &stroke.vertical.flex_nock_mm}) {
    if (n < 2 || column->size() != n) {
      throw std::runtime_error("the columns of its history differ in length");
    }
  }
  const std::size_t m = stroke.lateral.path_m.size();
  for (const Stroke::Plane* plane : {&stroke.lateral, &stroke.vertical}) {
    if (m < 2 || plane->path_m != stroke.lateral.path_m || plane->offset_deg.size() != m ||
        plane->slope_deg_per_m.size() != m) {
      throw std::runtime_error("the columns of its flight differ in length");
    }
  }
  return stroke;
}

// From the bow's frame to the range's at cant c, as the measurement page has it.
struct Turn {
  double c, s;
  explicit Turn(double cant_deg) : c(std::cos(cant_deg * kRad)), s(std::sin(cant_deg * kRad)) {}
  template <typename T>
  T right(T lateral, T vertical) const {
    return lateral * c + vertical * s;
  }
  template <typename T>
  T up(T lateral, T vertical) const {
    return -lateral * s + vertical * c;
  }
};

}  // namespace

Stroke read_stroke(const std::string& path) {
  std::ifstream in(path);
  if (!in) {
    throw std::runtime_error(fmt::format("cannot read {}", path));
  }
  try {
    return read(nlohmann::json::parse(in));
  } catch (const std::exception& error) {
    throw std::runtime_error(fmt::format(
        "{} is not what `nocktrail effects --exit-state` writes: {}", path, error.what()));
  }
}

void set_bow_and_arrow(const Stroke& stroke, ClipSpec& spec) {
  spec.archer.hand = stroke.hand;
  spec.archer.cant_deg = std::abs(spec.archer.cant_deg) * (stroke.hand == "right" ? 1.0 : -1.0);
  spec.archer.brace_m = stroke.brace_m;
  spec.arrow.length_m = stroke.arrow.length_m;
  spec.arrow.diameter_m = stroke.arrow.diameter_m;
  spec.arrow.nock_mass_ratio = stroke.arrow.nock_mass_ratio;
  spec.arrow.tip_mass_ratio = stroke.arrow.tip_mass_ratio;
  spec.arrow.fletched = stroke.fletched;
  if (!stroke.fletched) {
    spec.arrow.spin_hz = 0.0;
  }
}

void set_shot(const Stroke& stroke, const ClipSpec& spec, ShotSpec& shot) {
  const Turn turn(spec.archer.cant_deg);
  const Stroke::Plane& lat = stroke.lateral;
  const Stroke::Plane& vert = stroke.vertical;

  StrokeHistory history;
  history.aim_azimuth_deg = shot.azimuth_deg;
  history.aim_elevation_deg = shot.elevation_deg;
  history.exit_s = stroke.exit_s;
  history.t_s = stroke.t_s;
  history.rest_from_nock_m = stroke.rest_from_nock_m;
  for (std::size_t i = 0; i < stroke.t_s.size(); ++i) {
    history.right_mm.push_back(turn.right(lat.centre_mm[i], vert.centre_mm[i]));
    history.up_mm.push_back(turn.up(lat.centre_mm[i], vert.centre_mm[i]));
    history.azimuth_deg.push_back(turn.right(lat.axis_deg[i], vert.axis_deg[i]));
    history.elevation_deg.push_back(turn.up(lat.axis_deg[i], vert.axis_deg[i]));
    history.bend_right_mm.push_back(turn.right(lat.flex_nock_mm[i], vert.flex_nock_mm[i]));
    history.bend_up_mm.push_back(turn.up(lat.flex_nock_mm[i], vert.flex_nock_mm[i]));
  }
  history.path_m = lat.path_m;
  for (std::size_t i = 0; i < lat.path_m.size(); ++i) {
    history.nock_right_deg.push_back(turn.right(lat.offset_deg[i], vert.offset_deg[i]));
    history.nock_high_deg.push_back(turn.up(lat.offset_deg[i], vert.offset_deg[i]));
    history.nock_right_slope_deg_per_m.push_back(
        turn.right(lat.slope_deg_per_m[i], vert.slope_deg_per_m[i]));
    history.nock_high_slope_deg_per_m.push_back(
        turn.up(lat.slope_deg_per_m[i], vert.slope_deg_per_m[i]));
  }

  shot.speed_mps = stroke.speed_mps;
  shot.azimuth_deg += turn.right(lat.clear_path_deg, vert.clear_path_deg);
  shot.elevation_deg += turn.up(lat.clear_path_deg, vert.clear_path_deg);
  shot.nock_right_deg = turn.right(lat.reference_offset_deg, vert.reference_offset_deg);
  shot.nock_high_deg = turn.up(lat.reference_offset_deg, vert.reference_offset_deg);
  shot.nock_right_slope_deg_per_m =
      turn.right(lat.reference_slope_deg_per_m, vert.reference_slope_deg_per_m);
  shot.nock_high_slope_deg_per_m =
      turn.up(lat.reference_slope_deg_per_m, vert.reference_slope_deg_per_m);
  shot.wavelength_m =
      std::min(kLongestWave_m, 2.0 * std::numbers::pi / std::max(stroke.kappa_per_m, 1e-9));
  shot.damping_ratio = std::min(stroke.damping_ratio, 0.9);
  shot.lift_eta_m = 0.0;  // the simulated path is straight but for gravity
  shot.flex_hz = stroke.flex_hz;
  shot.flex_damping_ratio = stroke.flex_damping_ratio;
  // Two swings of one frequency turn like vectors when written as phasors.
  const auto lateral = std::polar(lat.flex_mm, lat.flex_phase_deg * kRad);
  const auto vertical = std::polar(vert.flex_mm, vert.flex_phase_deg * kRad);
  const auto right = turn.right(lateral, vertical);
  const auto up = turn.up(lateral, vertical);
  shot.flex_lateral_mm = std::abs(right);
  shot.flex_phase_deg = std::arg(right) / kRad;
  shot.flex_vertical_mm = std::abs(up);
  shot.flex_vertical_phase_deg = std::arg(up) / kRad;
  shot.hold_azimuth_deg = history.aim_azimuth_deg + history.azimuth_deg.front() - shot.azimuth_deg;
  shot.hold_elevation_deg =
      history.aim_elevation_deg + history.elevation_deg.front() - shot.elevation_deg;
  shot.point_past_rest_m = spec.arrow.length_m - stroke.rest_from_nock_m.front();
  shot.stroke = history;
}

}  // namespace clipmaker
