#include "nocktrail/arrow/plane_motion.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstddef>

namespace nocktrail::arrow {
namespace {

// Force of the unilateral support over one step, from the penetrations at its ends: the discrete
// gradient of the potential k/2 max(p, 0)^2 and a damper, together never pulling.
double support_force(double before, double after, double stiffness, double damping, double step) {
  const double a = std::max(before, 0.0);
  const double b = std::max(after, 0.0);
  double elastic = 0.5 * stiffness * (a + b);
  const double change = after - before;
  if ((before < 0.0) != (after < 0.0)) {
    elastic = 0.5 * stiffness * (b * b - a * a) / change;
  }
  if (a == 0.0 && b == 0.0) {
    return 0.0;
  }
  return std::max(0.0, elastic + damping * change / step);
}

// Solves f = support_force(before, free - compliance f): the right side falls with f, so the root
// is bracketed by 0 and the force at f = 0.
double solve_contact(double before, double free, double compliance, const PlaneInput& input,
                     double step) {
  const auto force_at = [&](double f) {
    return support_force(before, free - compliance * f, input.support_stiffness_n_per_m,
                         input.support_damping_n_s_per_m, step);
  };
  double low = 0.0;
  double high = force_at(0.0);
  if (high <= 0.0) {
    return 0.0;
  }
  double low_miss = high;  // force_at(f) - f: positive at low, negative at high
  double high_miss = force_at(high) - high;
  // The force is piecewise nearly linear: the secant of the bracket lands on it in a few rounds
  // (Illinois rule against a stuck end).
  for (int round = 0; round < 60 && high - low > 1e-12 * (1.0 + high); ++round) {
    const double guess = low + (high - low) * low_miss / (low_miss - high_miss);
    const double miss = force_at(guess) - guess;
    if (std::abs(miss) < 1e-11 * (1.0 + guess)) {
      return guess;
    }
    if (miss > 0.0) {
      low = guess;
      low_miss = miss;
      high_miss *= 0.5;
    } else {
      high = guess;
      high_miss = miss;
      low_miss *= 0.5;
    }
  }
  return 0.5 * (low + high);
}

RigidState rigid_state(const BeamModes& modes, const ModeVector& q, const ModeVector& v) {
  const double root_mass = std::sqrt(modes.mass().mass_kg);
  const double root_inertia = std::sqrt(modes.mass().inertia_kg_m2);
  return {q(0) / root_mass, v(0) / root_mass, q(1) / root_inertia, v(1) / root_inertia};
}

// Everything that acts during one step, frozen at its middle.
struct StepForces {
  double step_s = 0.0;
  double acceleration_mps2 = 0.0;
  double string_stiffness_n_per_m = 0.0;
  double string_mass_kg = 0.0;
  double kick_n = 0.0;
  double rest_before_m = 0.0;
  double rest_middle_m = 0.0;
  double rest_after_m = 0.0;
};

class Motion {
 public:
  Motion(const BeamModes& modes, const PlaneInput& input)
      : modes_(modes), input_(input), nock_(modes.shape_at(0.0)) {
    const double root_mass = std::sqrt(modes.mass().mass_kg);
    const double root_inertia = std::sqrt(modes.mass().inertia_kg_m2);
    // Straight, the nock on the string's anchor and the shaft just touching the support.
    const double slope = (input.support_offset_m - input.nock_anchor_m) / input.nock_to_rest_m;
    q_ = ModeVector::Zero(modes.count());
    v_ = ModeVector::Zero(modes.count());
    q_(0) = root_mass * (input.nock_anchor_m + slope * modes.mass().balance_m);
    q_(1) = root_inertia * slope;
    weight_ = ModeVector::Zero(modes.count());
    weight_(0) = -input.gravity_mps2 * root_mass;
    damping_ = 2.0 * input.damping_ratio * modes.omega_rad_s();
    stiffness_ = modes.omega_rad_s().cwiseAbs2();
  }

  // One implicit midpoint step; returns the contact force.
  double step(const StepForces& at) {
    const double h = at.step_s;
    const int n = modes_.count();
    matrix_ = -0.5 * h * at.acceleration_mps2 * modes_.compression();
    matrix_.diagonal() += damping_ + 0.5 * h * stiffness_;
    matrix_.diagonal().array() += 2.0 / h;
    const double nock_factor = 2.0 * at.string_mass_kg / h + 0.5 * h * at.string_stiffness_n_per_m;
    matrix_.noalias() += nock_factor * nock_ * nock_.transpose();

    const double nock_force = at.kick_n + at.string_stiffness_n_per_m * input_.nock_anchor_m +
                              2.0 / h * at.string_mass_kg * nock_.dot(v_) -
                              at.string_stiffness_n_per_m * nock_.dot(q_);
    ModeVector right = 2.0 / h * v_ + weight_ - stiffness_.cwiseProduct(q_);
    right.noalias() += at.acceleration_mps2 * (modes_.compression() * q_);
    right += nock_force * nock_;

    factor_.compute(matrix_);
    ModeVector middle_rate = factor_.solve(right);
    double contact = 0.0;
    ModeVector contact_shape;
    if (rest_on_shaft(at.rest_middle_m)) {
      contact_shape = modes_.shape_at(at.rest_middle_m);
      const ModeVector response = factor_.solve(contact_shape);
      const ModeVector shape_after = modes_.shape_at(at.rest_after_m);
      const double before = -gap(at.rest_before_m);
      const double free =
          input_.support_offset_m - shape_after.dot(q_) - h * shape_after.dot(middle_rate);
      contact = solve_contact(before, free, h * shape_after.dot(response), input_, h);
      middle_rate += contact * response;
    } else {
      contact_shape = ModeVector::Zero(n);
    }
    audit_step(at, middle_rate, contact, contact_shape);
    q_ += h * middle_rate;
    v_ = 2.0 * middle_rate - v_;
    return contact;
  }

  double gap(double rest_from_nock_m) const {
    return modes_.shape_at(rest_from_nock_m).dot(q_) - input_.support_offset_m;
  }
  bool rest_on_shaft(double rest_from_nock_m) const {
    return rest_from_nock_m >= 0.0 && rest_from_nock_m <= modes_.length_m();
  }
  double deflection(double from_nock_m) const { return modes_.shape_at(from_nock_m).dot(q_); }
  RigidState rigid() const { return rigid_state(modes_, q_, v_); }
  double nock_rate() const { return nock_.dot(v_); }

  double energy_j(double string_mass_kg) const {
    const double nock_rate = nock_.dot(v_);
    return 0.5 * (v_.squaredNorm() + string_mass_kg * nock_rate * nock_rate +
                  stiffness_.dot(q_.cwiseAbs2()));
  }
  double flex_amplitude_m() const {
    return modes_.count() < 3
               ? 0.0
               : std::hypot(flex_nock_m(), flex_nock_rate_mps() / modes_.omega_rad_s()(2));
  }
  // What the first bending mode adds to the nock's displacement, and its rate.
  double flex_nock_m() const { return modes_.count() < 3 ? 0.0 : nock_(2) * q_(2); }
  double flex_nock_rate_mps() const { return modes_.count() < 3 ? 0.0 : nock_(2) * v_(2); }
  const PlaneAudit& audit() const { return audit_; }

 private:
  void audit_step(const StepForces& at, const ModeVector& rate, double contact,
                  const ModeVector& contact_shape) {
    const double h = at.step_s;
    const ModeVector middle = q_ + 0.5 * h * rate;
    const double nock_rate = nock_.dot(rate);
    const double string_force =
        -at.string_stiffness_n_per_m * (nock_.dot(middle) - input_.nock_anchor_m);
    audit_.string_work_j += h * nock_rate * string_force;
    audit_.kick_work_j += h * nock_rate * at.kick_n;
    audit_.compression_work_j += h * at.acceleration_mps2 * rate.dot(modes_.compression() * middle);
    audit_.contact_work_j += h * contact * contact_shape.dot(rate);
    audit_.gravity_work_j += h * weight_.dot(rate);
    audit_.damping_work_j -= h * damping_.dot(rate.cwiseAbs2());
    audit_.impulse_n_s +=
        h * (string_force + at.kick_n + contact - input_.gravity_mps2 * modes_.mass().mass_kg);
  }

  const BeamModes& modes_;
  const PlaneInput& input_;
  ModeVector nock_;
  ModeVector q_;
  ModeVector v_;
  ModeVector weight_;
  ModeVector damping_;
  ModeVector stiffness_;
  ModeMatrix matrix_;
  Eigen::LLT<ModeMatrix> factor_;
  PlaneAudit audit_;
};

PlaneTrace trace_point(const Motion& motion, const BeamModes& modes, double t_s, double rest_m,
                       double contact_n) {
  const RigidState rigid = motion.rigid();
  return {t_s,
          rest_m,
          motion.rest_on_shaft(rest_m) ? motion.gap(rest_m) : 0.0,
          contact_n,
          motion.deflection(0.0),
          motion.deflection(0.5 * modes.length_m()),
          motion.deflection(modes.length_m()),
          rigid.centre_m,
          rigid.slope_rad,
          motion.flex_nock_m(),
          motion.flex_nock_rate_mps()};
}

}  // namespace

PlaneResult plane_motion(const BeamModes& modes, const ThrustHistory& thrust,
                         const PlaneInput& input, const PlaneOptions& options) {
  Motion motion(modes, input);
  PlaneResult result;
  const auto note = [&](double t_s, double rest_m, double contact_n) {
    result.peak_contact_n = std::max(result.peak_contact_n, contact_n);
    result.least_contact_n = std::min(result.least_contact_n, contact_n);
    if (options.trace) {
      result.trace.push_back(trace_point(motion, modes, t_s, rest_m, contact_n));
    }
  };
  note(0.0, input.nock_to_rest_m, 0.0);

  const double h = thrust.step_s;
  const double energy_at_loose = motion.energy_j(input.string_mass_kg);
  for (std::size_t i = 0; i < thrust.mid_travel_m.size(); ++i) {
    StepForces at;
    at.step_s = h;
    at.acceleration_mps2 = thrust.mid_acceleration_mps2[i];
    at.string_stiffness_n_per_m = input.string_stiffness_n_per_m[i];
    at.string_mass_kg = input.string_mass_kg;
    at.kick_n = input.kick_n[i];
    at.rest_before_m = input.nock_to_rest_m - thrust.travel_m[i];
    at.rest_middle_m = input.nock_to_rest_m - thrust.mid_travel_m[i];
    at.rest_after_m = input.nock_to_rest_m - thrust.travel_m[i + 1];
    const double contact = motion.step(at);
    const double t_s = h * static_cast<double>(i + 1);
    if (contact > 0.0) {
      result.last_contact_s = t_s;
    }
    note(t_s, at.rest_after_m, contact);
  }
  result.exit = motion.rigid();
  result.flex_amplitude_m = motion.flex_amplitude_m();
  result.flex_nock_m = motion.flex_nock_m();
  result.flex_nock_rate_mps = motion.flex_nock_rate_mps();
  result.audit = motion.audit();
  result.audit.energy_j = motion.energy_j(input.string_mass_kg) - energy_at_loose;
  result.audit.momentum_n_s = modes.mass().mass_kg * result.exit.centre_rate_mps +
                              input.string_mass_kg * motion.nock_rate();

  // Off the string: the tail still has the brace height to go before it is clear of the bow.
  const double speed = thrust.exit_speed_mps;
  const double clear_s = input.brace_height_m / speed;
  const auto steps = static_cast<int>(std::ceil(clear_s / h));
  const double free_step = clear_s / steps;
  const auto more = static_cast<int>(std::ceil(options.after_rest_s / free_step));
  for (int i = 0; i < steps + more; ++i) {
    StepForces at;
    at.step_s = free_step;
    at.rest_before_m = input.brace_height_m - speed * free_step * i;
    at.rest_middle_m = at.rest_before_m - 0.5 * speed * free_step;
    at.rest_after_m = std::max(0.0, at.rest_before_m - speed * free_step);
    const double contact = motion.step(at);
    result.impulse_after_exit_n_s += contact * free_step;
    note(thrust.exit_s + free_step * (i + 1), at.rest_after_m, contact);
    if (i == steps - 1) {
      result.past_rest = motion.rigid();
    }
  }
  return result;
}

}  // namespace nocktrail::arrow
