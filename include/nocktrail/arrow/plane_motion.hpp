// Motion of the flexing arrow in one plane (lateral or vertical) from the loose until the nock has
// passed the rest.
//
// The plane's coordinate w points away from the support: out of the strike plate, up from the
// shelf. In the modal coordinates q of BeamModes (w(x) = shape(x) . q, mass-orthonormal):
//
//   q'' + 2 zeta Omega q' + (Omega^2 - a(t) G) q
//       + shape(0) [ m_string shape(0).q'' + k(t) (shape(0).q - anchor) - kick(t) ]
//       = shape(xi(t)) f_contact - gravity terms
//
// a(t) is the forward acceleration and a G the axial compression's geometric stiffness: the force
// falls from the nock to the tip as the mass ahead is accelerated. xi(t) is where the rest stands
// along the shaft: it slides from full draw to the nock. The support is unilateral: a linear spring
// and damper that can only push.
//
// Integrated by the implicit midpoint rule; the contact force follows from the support's potential
// by a discrete gradient, so that an undamped contact gives back exactly what it took. The step
// size study is in docs/arrow-model.md.
#pragma once

#include <vector>

#include "nocktrail/arrow/beam.hpp"
#include "nocktrail/arrow/thrust.hpp"

namespace nocktrail::arrow {

struct PlaneInput {
  double nock_anchor_m = 0.0;     // where the string's plane (or its path) holds the nock
  double support_offset_m = 0.0;  // the shaft's axis when it just touches the support
  double nock_to_rest_m = 0.0;    // along the shaft at the loose
  double brace_height_m = 0.0;    // nock to rest when the nock leaves the string
  std::vector<double> string_stiffness_n_per_m;  // k at the middle of every step of the thrust
  double string_mass_kg = 0.0;                   // moves sideways with the nock until it leaves
  std::vector<double> kick_n;  // the fingers' force on the nock, at the same instants
  double gravity_mps2 = 0.0;   // toward the support
  double support_stiffness_n_per_m = 0.0;
  double support_damping_n_s_per_m = 0.0;
  double damping_ratio = 0.0;  // of every bending mode
};

// Rigid part of a modal state: centre of mass and slope of the rigid axis (nock to point).
struct RigidState {
  double centre_m = 0.0;
  double centre_rate_mps = 0.0;
  double slope_rad = 0.0;  // dw/dx of the rigid axis: positive, the point leans to +w
  double slope_rate_rad_s = 0.0;
};

struct PlaneTrace {
  double t_s = 0.0;
  double rest_from_nock_m = 0.0;
  double gap_m = 0.0;      // shaft to support, negative while pressed in
  double contact_n = 0.0;  // mean over the step that ends here
  double nock_m = 0.0;
  double middle_m = 0.0;
  double tip_m = 0.0;
  double centre_m = 0.0;     // of mass, on the rigid axis
  double slope_rad = 0.0;    // of the rigid axis
  double flex_nock_m = 0.0;  // first bending mode's part of nock_m
  double flex_nock_rate_mps = 0.0;
};

// What the audits need: over the stroke, every joule and newton second by its source.
struct PlaneAudit {
  double energy_j = 0.0;  // kinetic and bending, string's side mass included, at exit
  double string_work_j = 0.0;
  double compression_work_j = 0.0;  // taken from the forward motion
  double contact_work_j = 0.0;
  double kick_work_j = 0.0;
  double gravity_work_j = 0.0;
  double damping_work_j = 0.0;  // negative
  double momentum_n_s = 0.0;    // of arrow and string's side mass at exit
  double impulse_n_s = 0.0;     // of string, kick, contact and gravity
};

struct PlaneResult {
  RigidState exit;                // the nock leaves the string
  RigidState past_rest;           // the nock passes the rest; later touches of the bow included
  double flex_amplitude_m = 0.0;  // first bending mode at the nock end, peak, at exit
  double flex_nock_m = 0.0;       // its part of the nock's displacement at the exit, and its rate
  double flex_nock_rate_mps = 0.0;
  double last_contact_s = 0.0;          // before exit
  double impulse_after_exit_n_s = 0.0;  // what the shaft or nock got from the support after exit
  double peak_contact_n = 0.0;
  double least_contact_n = 0.0;
  PlaneAudit audit;
  std::vector<PlaneTrace> trace;  // filled when asked for
};

struct PlaneOptions {
  bool trace = false;
  double after_rest_s = 0.0;  // free flight to trace after the nock has passed the rest
};

PlaneResult plane_motion(const BeamModes& modes, const ThrustHistory& thrust,
                         const PlaneInput& input, const PlaneOptions& options = {});

}  // namespace nocktrail::arrow
