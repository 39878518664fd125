#include "nocktrail/arrow/power_stroke.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>

#include "nocktrail/arrow/spine.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kReferencePastRest_m = 2.0;  // docs/measurement.md

// The limb tips follow the string. Near brace height they stand still to first order (the string
// is inextensible), so all of the draw opens as distance between the nock and the line of the
// tips; at full draw this share of it has gone into the tips coming back (a 66 in longbow at 28 in,
// drawn to scale: 0.39 m of 0.50 m are left).
constexpr double kTipsFollow = 0.23;

ArrowBuild with_true_stiffness(ArrowBuild arrow, double ei_factor) {
  arrow.shaft.ei_n_m2 *= ei_factor;
  return arrow;
}

// The string pulls the nock toward the middle of the line of the limb tips, h ahead of it. The
// pull forward is what accelerates arrow and string, so sideways it is a stiffness of that thrust
// over h. It stays finite as thrust and h fall to zero together.
std::vector<double> string_stiffness(const ThrustInput& input, const ThrustHistory& history,
                                     const Unknowns& unknowns) {
  const double driven_kg = input.arrow_mass_kg + unknowns.string_side_mass_kg;
  std::vector<double> stiffness(history.mid_travel_m.size());
  for (std::size_t i = 0; i < stiffness.size(); ++i) {
    const double remaining_m = input.stroke_m - history.mid_travel_m[i];
    const double ahead_m = remaining_m * (1.0 - kTipsFollow * remaining_m / input.stroke_m);
    stiffness[i] =
        unknowns.string_side_factor * driven_kg * history.mid_acceleration_mps2[i] / ahead_m;
  }
  return stiffness;
}

std::vector<double> finger_push(const ThrustHistory& history, double peak_n, double travel_m) {
  std::vector<double> push(history.mid_travel_m.size(), 0.0);
  for (std::size_t i = 0; i < push.size() && history.mid_travel_m[i] < travel_m; ++i) {
    push[i] = peak_n * std::sin(std::numbers::pi * history.mid_travel_m[i] / travel_m);
  }
  return push;
}

bool small_angles(const PlaneExit& exit) {
  constexpr double kLargest_deg = 30.0;
  return std::abs(exit.axis_deg) < kLargest_deg && std::abs(exit.path_deg) < kLargest_deg &&
         std::abs(exit.reference_offset_deg) < kLargest_deg;
}

// `sense` turns the plane's coordinate into the range frame's angle: +1 when w grows with the
// angle. Gravity, downward in it, turns the path (by g/v^2 per metre) and not the shaft.
PlaneExit plane_exit(const PlaneResult& motion, double speed_mps, double sense,
                     const Weathercock& air, double gravity_mps2) {
  const auto deg = [](double rad) { return units::deg_from_rad(rad); };
  PlaneExit exit;
  exit.axis_deg = deg(sense * motion.exit.slope_rad);
  exit.axis_rate_deg_s = deg(sense * motion.exit.slope_rate_rad_s);
  exit.path_deg = deg(sense * motion.exit.centre_rate_mps / speed_mps);
  exit.offset_deg = exit.path_deg - exit.axis_deg;
  exit.flex_amplitude_mm = 1e3 * motion.flex_amplitude_m;
  exit.flex_nock_mm = 1e3 * sense * motion.flex_nock_m;
  exit.flex_nock_rate_mm_s = 1e3 * sense * motion.flex_nock_rate_mps;
  exit.support_left_s = motion.last_contact_s;
  exit.touched_after_exit = motion.impulse_after_exit_n_s > 0.0;
  const RigidState& clear = motion.past_rest;
  exit.clear_path_deg = deg(sense * clear.centre_rate_mps / speed_mps);
  Incidence incidence;
  incidence.angle_rad = sense * (clear.centre_rate_mps / speed_mps - clear.slope_rad);
  incidence.slope_rad_per_m =
      -sense * clear.slope_rate_rad_s / speed_mps - gravity_mps2 / (speed_mps * speed_mps);
  exit.clear_offset_deg = deg(incidence.angle_rad);
  exit.clear_slope_deg_per_m = deg(incidence.slope_rad_per_m);
  const Incidence reference = fly(incidence, kReferencePastRest_m, air);
  exit.reference_offset_deg = deg(reference.angle_rad);
  exit.reference_slope_deg_per_m = deg(reference.slope_rad_per_m);
  return exit;
}

}  // namespace

double held_force_n(const Setup& setup, double early_weight) {
  const double rated_stroke = nock_to_pivot_m(setup.bow.rated_draw_m) - setup.bow.brace_height_m;
  return draw_force_at_n(setup.bow.draw_weight_n, rated_stroke, power_stroke_m(setup),
                         early_weight);
}

Unknowns with_string(const Setup& setup, Unknowns unknowns) {
  if (!setup.bow.string_mass_kg) {
    return unknowns;
  }
  constexpr double kLeft = 0.4;
  const double third_kg = *setup.bow.string_mass_kg / 3.0;
  const double usual_kg = kUsualString_kg / 3.0;
  unknowns.string_side_mass_kg =
      third_kg * std::pow(unknowns.string_side_mass_kg / usual_kg, kLeft);
  unknowns.virtual_mass_kg = std::max(unknowns.virtual_mass_kg - usual_kg, 0.0) + third_kg;
  return unknowns;
}

ExitState simulate_shot(const Setup& setup, const Unknowns& of_usual_string,
                        const StrokeOptions& options) {
  const Unknowns unknowns = with_string(setup, of_usual_string);
  const ArrowBuild arrow = with_true_stiffness(setup.arrow, unknowns.ei_factor);
  const BeamModes modes(arrow, options.beam);

  ThrustInput thrust;
  thrust.full_draw_force_n = held_force_n(setup, unknowns.early_weight);
  thrust.stroke_m = power_stroke_m(setup);
  thrust.early_weight = unknowns.early_weight;
  thrust.efficiency = unknowns.efficiency;
  thrust.arrow_mass_kg = modes.mass().mass_kg;
  thrust.virtual_mass_kg = unknowns.virtual_mass_kg;
  thrust.limb_mass_kg = unknowns.limb_mass_kg;
  const ThrustHistory history = thrust_history(thrust, options.step_s);

  PlaneInput lateral;
  lateral.nock_anchor_m = 0.0;
  lateral.support_offset_m = setup.bow.plate_offset_m + 0.5 * arrow.shaft.diameter_m;
  lateral.nock_to_rest_m = nock_to_rest_at_full_draw_m(setup.archer);
  lateral.brace_height_m = setup.bow.brace_height_m;
  lateral.string_stiffness_n_per_m = string_stiffness(thrust, history, unknowns);
  lateral.string_mass_kg = unknowns.string_side_mass_kg;
  // The string rolls off the fingertips, which point across to the arrow's side of the bow.
  lateral.kick_n = finger_push(history, unknowns.finger_ratio * thrust.full_draw_force_n,
                               unknowns.finger_travel_m);
  lateral.support_stiffness_n_per_m = unknowns.plate_stiffness_n_per_m;
  lateral.support_damping_n_s_per_m = unknowns.support_damping_n_s_per_m;
  lateral.damping_ratio = unknowns.flex_damping_ratio;

  ExitState state;
  state.speed_mps = history.exit_speed_mps;
  state.exit_s = history.exit_s;
  state.flex_frequency_hz = modes.frequency_hz(1);
  state.held_n = thrust.full_draw_force_n;
  const Weathercock air = weathercock(arrow, options.air);
  // Away from the plate is the shooter's left for a right-handed archer, that is minus X.
  const double lateral_sense = setup.archer.hand == Hand::left ? 1.0 : -1.0;
  state.lateral_motion = plane_motion(modes, history, lateral, options.plane);
  state.lateral = plane_exit(state.lateral_motion, state.speed_mps, lateral_sense, air, 0.0);

  if (options.vertical) {
    PlaneInput vertical = lateral;
    vertical.nock_anchor_m = setup.bow.nocking_point_m - arrow.shaft.diameter_m;
    vertical.support_offset_m = 0.0;
    for (double& stiffness : vertical.string_stiffness_n_per_m) {
      stiffness *= unknowns.string_height_factor / unknowns.string_side_factor;
    }
    vertical.kick_n = finger_push(history, unknowns.finger_lift_ratio * thrust.full_draw_force_n,
                                  unknowns.finger_travel_m);
    vertical.gravity_mps2 = units::kStandardGravity;
    vertical.support_stiffness_n_per_m = unknowns.shelf_stiffness_n_per_m;
    state.vertical_motion = plane_motion(modes, history, vertical, options.plane);
    state.vertical =
        plane_exit(state.vertical_motion, state.speed_mps, 1.0, air, units::kStandardGravity);
  }
  state.small_angles = small_angles(state.lateral) && small_angles(state.vertical);
  return state;
}

}  // namespace nocktrail::arrow
