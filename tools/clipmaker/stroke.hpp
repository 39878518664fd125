// A simulated power stroke in place of the drawn one: reads what `nocktrail effects --exit-state`
// writes. The file is all that the two programs share.
#pragma once

#include <string>

#include "spec.hpp"

namespace clipmaker {

struct Stroke {
  std::string hand = "right";
  double brace_m = 0.17;
  double speed_mps = 50.0;
  ArrowSpec arrow;  // length, diameter, mass ratios; fletched or not
  bool fletched = false;
  // Bow frame, as in the file: first the lateral plane (to the shooter's right), then the vertical
  // one (up).
  struct Plane {
    double reference_offset_deg = 0.0;
    double reference_slope_deg_per_m = 0.0;
    double clear_path_deg = 0.0;
    double flex_mm = 0.0;
    double flex_phase_deg = 0.0;
    std::vector<double> centre_mm, axis_deg, flex_nock_mm;
    std::vector<double> path_m, offset_deg, slope_deg_per_m;  // of the flight past the rest
  };
  Plane lateral, vertical;
  double exit_s = 0.0;
  double flex_hz = 70.0;
  double flex_damping_ratio = 0.01;
  double kappa_per_m = 0.0;
  double damping_ratio = 0.0;
  std::vector<double> t_s, rest_from_nock_m;
};

// Throws std::runtime_error that names the file and what is wrong with it.
Stroke read_stroke(const std::string& path);

// What belongs to the bow and the arrow: hand, brace height, length, masses. A drawn cant keeps its
// size and takes the side of the hand.
void set_bow_and_arrow(const Stroke& stroke, ClipSpec& spec);

// The stroke and the flight after it, turned by the cant of `spec`. The shot's azimuth and
// elevation as they stand become the direction in which the bow is held.
void set_shot(const Stroke& stroke, const ClipSpec& spec, ShotSpec& shot);

}  // namespace clipmaker
