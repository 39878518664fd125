#include "nocktrail/arrow/exit_state_json.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <numbers>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::arrow {
namespace {

using nlohmann::json;

// 0.2 ms with the default step: a fiftieth of the shortest flex period that is asked about.
constexpr std::size_t kEvery = 5;

struct Plane {
  double sense = 1.0;  // +1 when the plane's coordinate grows to the right or upward
  double support_m = 0.0;
  const PlaneExit& exit;
  const std::vector<PlaneTrace>& trace;
};

// The first mode's swing in the form a cos(w t + phase) exp(-zeta w t), t from the exit. Taken
// where the tail is clear of the bow, so that a touch on the way out is part of it.
json swing_json(const PlaneTrace& clear, double since_exit_s, double omega, double damping,
                double sense) {
  const double in_phase = sense * clear.flex_nock_m;
  const double quadrature =
      -(sense * clear.flex_nock_rate_mps + damping * omega * in_phase) / omega;
  const double amplitude_m =
      std::hypot(in_phase, quadrature) * std::exp(damping * omega * since_exit_s);
  const double phase_rad = std::atan2(quadrature, in_phase) - omega * since_exit_s;
  return {{"amplitude_mm", 1e3 * amplitude_m},
          {"phase_deg", units::deg_from_rad(std::remainder(phase_rad, 2.0 * std::numbers::pi))}};
}

// The offset along the flight, from where the nock passes the rest to the reference distance, where
// the arrow room ends: further on it has no force that turns the path, and would mislead. Cubic
// pieces between the samples (value and slope) are right to a thousandth of a degree for every
// arrow that check_setup() passes.
constexpr double kFlight_m = 2.0;
constexpr double kFlightStep_m = 0.25;

json flight_json(const PlaneExit& exit, const Weathercock& air) {
  json path = json::array();
  json offset = json::array();
  json slope = json::array();
  Incidence at{units::rad_from_deg(exit.clear_offset_deg),
               units::rad_from_deg(exit.clear_slope_deg_per_m)};
  for (double flown = 0.0; flown <= kFlight_m; flown += kFlightStep_m) {
    path.push_back(flown);
    offset.push_back(units::deg_from_rad(at.angle_rad));
    slope.push_back(units::deg_from_rad(at.slope_rad_per_m));
    at = fly(at, kFlightStep_m, air);
  }
  return {{"path_m", path}, {"offset_deg", offset}, {"slope_deg_per_m", slope}};
}

json plane_json(const Plane& plane, const std::vector<std::size_t>& picked, double exit_s,
                double omega, double damping, const Weathercock& air) {
  json centre = json::array();
  json axis = json::array();
  json flex = json::array();
  for (const std::size_t i : picked) {
    const PlaneTrace& at = plane.trace[i];
    centre.push_back(1e3 * plane.sense * (at.centre_m - plane.support_m));
    axis.push_back(units::deg_from_rad(plane.sense * at.slope_rad));
    flex.push_back(1e3 * plane.sense * at.flex_nock_m);
  }
  const PlaneTrace& clear = plane.trace[picked.back()];
  return {{"axis_deg", plane.exit.axis_deg},
          {"axis_rate_deg_s", plane.exit.axis_rate_deg_s},
          {"path_deg", plane.exit.path_deg},
          {"offset_deg", plane.exit.offset_deg},
          {"flex", swing_json(clear, clear.t_s - exit_s, omega, damping, plane.sense)},
          {"support_left_s", plane.exit.support_left_s},
          {"touched_after_exit", plane.exit.touched_after_exit},
          {"clear_path_deg", plane.exit.clear_path_deg},
          {"reference_offset_deg", plane.exit.reference_offset_deg},
          {"reference_slope_deg_per_m", plane.exit.reference_slope_deg_per_m},
          {"flight", flight_json(plane.exit, air)},
          {"history", {{"centre_mm", centre}, {"axis_deg", axis}, {"flex_nock_mm", flex}}}};
}

// Every kEvery-th sample, the exit and the last one.
std::vector<std::size_t> picked_samples(const std::vector<PlaneTrace>& trace, double exit_s) {
  std::vector<std::size_t> picked;
  for (std::size_t i = 0; i < trace.size(); ++i) {
    const bool exit = std::abs(trace[i].t_s - exit_s) < 1e-9;
    if (i % kEvery == 0 || exit || i + 1 == trace.size()) {
      picked.push_back(i);
    }
  }
  return picked;
}

// The yaw's swing, also as one wavelength for both planes: the cross-flow, quadratic in the offset,
// then counts as the spring that it amounts to at the reference offset.
json yaw_json(const Weathercock& air, const ExitState& state) {
  const double offset_rad = units::rad_from_deg(
      std::hypot(state.lateral.reference_offset_deg, state.vertical.reference_offset_deg));
  const double stiffness = air.kappa_per_m * air.kappa_per_m +
                           std::max(0.0, air.crossflow_per_m2) * std::sin(offset_rad);
  const double kappa = std::sqrt(stiffness);
  return {{"kappa_per_m", air.kappa_per_m},
          {"damping_ratio", air.damping_ratio},
          {"crossflow_per_m2", air.crossflow_per_m2},
          {"equivalent_kappa_per_m", kappa},
          {"equivalent_damping_ratio",
           kappa > 0.0 ? air.damping_ratio * air.kappa_per_m / kappa : 0.0}};
}

}  // namespace

json exit_state_json(const Setup& setup, const Unknowns& unknowns) {
  StrokeOptions options;
  options.plane.trace = true;
  const ExitState state = simulate_shot(setup, unknowns, options);
  if (!state.small_angles) {
    throw BadInput(
        "the simulated shaft folds under the thrust, there is no flight to hand on; give a stiffer "
        "or shorter shaft, or a lighter bow");
  }
  const ArrowBuild& arrow = setup.arrow;
  const MassProperties mass = mass_properties(arrow);
  const double end_masses_kg = arrow.nock_mass_kg + arrow.tip_mass_kg + arrow.fletching_mass_kg;
  const double omega = 2.0 * std::numbers::pi * state.flex_frequency_hz;
  const double damping = unknowns.flex_damping_ratio;

  const Weathercock air = weathercock(arrow, options.air);
  const std::vector<std::size_t> picked = picked_samples(state.lateral_motion.trace, state.exit_s);
  json times = json::array();
  json rests = json::array();
  for (const std::size_t i : picked) {
    times.push_back(state.lateral_motion.trace[i].t_s);
    rests.push_back(state.lateral_motion.trace[i].rest_from_nock_m);
  }
  const Plane lateral{setup.archer.hand == Hand::left ? 1.0 : -1.0,
                      setup.bow.plate_offset_m + 0.5 * arrow.shaft.diameter_m, state.lateral,
                      state.lateral_motion.trace};
  const Plane vertical{1.0, 0.0, state.vertical, state.vertical_motion.trace};
  return {{"schema", "nocktrail.exit-state/1"},
          {"hand", setup.archer.hand == Hand::unknown ? json(nullptr)
                   : setup.archer.hand == Hand::left  ? json("left")
                                                      : json("right")},
          {"speed_mps", state.speed_mps},
          {"exit_s", state.exit_s},
          {"brace_m", setup.bow.brace_height_m},
          {"stroke_m", power_stroke_m(setup)},
          {"flex_frequency_hz", state.flex_frequency_hz},
          {"flex_damping_ratio", damping},
          {"arrow",
           {{"shaft_length_m", arrow.shaft.length_m},
            {"diameter_m", arrow.shaft.diameter_m},
            {"shaft_mass_kg", mass.mass_kg - end_masses_kg},
            {"nock_mass_kg", arrow.nock_mass_kg},
            {"tip_mass_kg", arrow.tip_mass_kg},
            {"fletching_mass_kg", arrow.fletching_mass_kg},
            {"balance_m", mass.balance_m}}},
          {"yaw", yaw_json(air, state)},
          {"history", {{"t_s", times}, {"rest_from_nock_m", rests}}},
          {"lateral", plane_json(lateral, picked, state.exit_s, omega, damping, air)},
          {"vertical", plane_json(vertical, picked, state.exit_s, omega, damping, air)}};
}

}  // namespace nocktrail::arrow
