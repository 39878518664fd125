// One shot of a set-up: from the loose to the reference distance of docs/measurement.md.
//
// The forward motion (thrust.hpp) is solved first; it drives the flexing arrow in the lateral and
// in the vertical plane (plane_motion.hpp), which do not act on each other: the support is without
// friction and the shaft is round. The rigid-body state then flies to 2 m past the rest.
#pragma once

#include "nocktrail/arrow/free_flight.hpp"
#include "nocktrail/arrow/plane_motion.hpp"
#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// What no archer measures. The defaults are the middle of the prior in unknowns.hpp; where each
// comes from, and how far it is to be believed, is in docs/arrow-model.md.
struct Unknowns {
  double finger_ratio = 0.08;      // sideways push of the fingers over the held force, peak
  double finger_travel_m = 0.030;  // nock travel over which the string rolls off the fingers
  double finger_lift_ratio = 0.0;  // the same upward (positive) or downward
  double plate_stiffness_n_per_m = 10e3;
  double shelf_stiffness_n_per_m = 10e3;
  double support_damping_n_s_per_m = 2.0;
  double ei_factor = 1.0;               // true EI over the stated one
  double string_side_factor = 2.4;      // true lateral stiffness at the nock over thrust / h
  double string_height_factor = 3.0;    // vertical stiffness at the nock over thrust / h
  double virtual_mass_kg = 7.6e-3;      // a third of a usual string and what else never comes back
  double limb_mass_kg = 25e-3;          // thrust.hpp
  double string_side_mass_kg = 2.5e-3;  // a third of a usual string moves with the nock
  double early_weight = 0.8;            // thrust.hpp's c
  double efficiency = 0.85;
  double flex_damping_ratio = 0.01;
};

struct StrokeOptions {
  double step_s = 40e-6;
  BeamOptions beam;
  FlightAir air;
  PlaneOptions plane;
  bool vertical = true;  // off: the lateral plane alone, for speed
};

// One plane at the exit. Signs as in docs/measurement.md: lateral angles positive to the shooter's
// right, vertical ones positive upward.
struct PlaneExit {
  double axis_deg = 0.0;  // azimuth or elevation of the rigid shaft axis
  double axis_rate_deg_s = 0.0;
  double path_deg = 0.0;           // of the centre of mass's velocity
  double offset_deg = 0.0;         // nock_right or nock_high at the exit
  double flex_amplitude_mm = 0.0;  // first bending mode, at the nock end, peak
  // The same mode's part of the nock's displacement at the exit, to the right or up, and its rate:
  // later it is flex_nock cos(w t) + flex_nock_rate / w sin(w t), w = 2 pi flex_frequency_hz, less
  // the damping. BeamModes::shape_at(x)(2) over its value at 0 carries it along the shaft.
  double flex_nock_mm = 0.0;
  double flex_nock_rate_mm_s = 0.0;
  double support_left_s = 0.0;  // last touch of plate or shelf before the exit
  bool touched_after_exit = false;
  // As the nock passes the rest: of the centre of mass's velocity; nock_right or nock_high and its
  // change per metre of path, with which the free flight begins.
  double clear_path_deg = 0.0;
  double clear_offset_deg = 0.0;
  double clear_slope_deg_per_m = 0.0;
  double reference_offset_deg = 0.0;  // nock_right or nock_high at the reference distance
  double reference_slope_deg_per_m = 0.0;
};

struct ExitState {
  double speed_mps = 0.0;
  double exit_s = 0.0;             // from loose to the nock leaving the string
  double flex_frequency_hz = 0.0;  // first bending mode of the free arrow
  double held_n = 0.0;             // force at the archer's draw
  // Whether every angle stayed under 30 deg. When not, the shaft has folded under the thrust (or as
  // good as) and the figures mean no more than that: the model is one of small angles.
  bool small_angles = true;
  PlaneExit lateral;
  PlaneExit vertical;
  PlaneResult lateral_motion;  // traces and audits, in the plane's own coordinates
  PlaneResult vertical_motion;
};

// A string that is not told weighs so much (6 to 9 g, from memory).
inline constexpr double kUsualString_kg = 7.5e-3;

// The unknowns of a bow whose string was weighed; as they are where it was not. Each half of a
// straight string swings about the tip of its limb, so that the nock feels a third of the whole.
// What the string's weight made uncertain of that third is gone, two fifths of the spread (of the
// logarithm) are left for what such a string is not.
Unknowns with_string(const Setup& setup, Unknowns unknowns);

// Force that the archer holds at full draw.
double held_force_n(const Setup& setup, double early_weight = Unknowns{}.early_weight);

// The set-up must be valid (setup_check.hpp).
ExitState simulate_shot(const Setup& setup, const Unknowns& unknowns = {},
                        const StrokeOptions& options = {});

}  // namespace nocktrail::arrow
