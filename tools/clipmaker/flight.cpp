#include "flight.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace clipmaker {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kStep_s = 0.0005;
constexpr double kLongest_s = 1.5;

// Displacement of the bending mode's nock end, one plane.
double flex(double since_exit_s, double amplitude_m, double hz, double phase_deg, double damping) {
  const double omega = 2.0 * std::numbers::pi * hz;
  return amplitude_m * std::exp(-damping * omega * since_exit_s) *
         std::cos(omega * since_exit_s + phase_deg * kRad);
}

// The push as shares of its time: speed in shares of the last, distance in shares of what the last
// speed would cover in the whole time. Shape 0 is a quarter sine, 1 an even acceleration.
double push_speed(double x, double shape) {
  return (1.0 - shape) * std::sin(0.5 * std::numbers::pi * x) + shape * x;
}
double pushed(double x, double shape) {
  return (1.0 - shape) * 2.0 / std::numbers::pi * (1.0 - std::cos(0.5 * std::numbers::pi * x)) +
         0.5 * shape * x * x;
}

double smoothstep(double x) {
  const double t = std::clamp(x, 0.0, 1.0);
  return t * t * (3.0 - 2.0 * t);
}

// Cubic Hermite from (a, 0 slope) to (b, slope_b) over [0, span].
double hermite(double a, double b, double slope_b, double t, double span) {
  const double x = std::clamp(t / span, 0.0, 1.0);
  const double x2 = x * x;
  const double x3 = x2 * x;
  return a * (2.0 * x3 - 3.0 * x2 + 1.0) + b * (3.0 * x2 - 2.0 * x3) + slope_b * span * (x3 - x2);
}

}  // namespace

double azimuth_of(const Eigen::Vector3d& w) {
  return std::atan2(w.x(), w.z());
}
double elevation_of(const Eigen::Vector3d& w) {
  return std::atan2(-w.y(), std::hypot(w.x(), w.z()));
}
Eigen::Vector3d direction(double azimuth, double elevation) {
  return {std::sin(azimuth) * std::cos(elevation), -std::sin(elevation),
          std::cos(azimuth) * std::cos(elevation)};
}

ArrowFlight::ArrowFlight(const ArrowSpec& arrow, const ShotSpec& shot, double brace_m,
                         double butt_m)
    : arrow_(arrow),
      shot_(shot),
      brace_m_(brace_m),
      butt_m_(butt_m),
      mode_(arrow.nock_mass_ratio, arrow.tip_mass_ratio),
      mode2_(arrow.nock_mass_ratio, arrow.tip_mass_ratio, 2),
      centre_from_nock_m_(mode_.centre_of_mass() * arrow.length_m),
      reference_path_m_(kReferenceNock_m + brace_m),
      launch_(direction(shot.azimuth_deg * kRad, shot.elevation_deg * kRad)),
      hold_axis_(direction((shot.azimuth_deg + shot.hold_azimuth_deg) * kRad,
                           (shot.elevation_deg + shot.hold_elevation_deg) * kRad)) {
  // The path length at which Z(nock) = 2 m depends weakly on the flight itself.
  for (int i = 0; i < 4; ++i) {
    integrate();
    reference_path_m_ = state_after(time_of_nock_z(kReferenceNock_m)).path;
  }
  integrate();

  const double tiny = 1e-6;
  const Eigen::Vector3d later = axis_for(state_after(tiny));
  const Eigen::Vector3d now = axis_for(state_after(0.0));
  exit_azimuth_ = azimuth_of(now);
  exit_elevation_ = elevation_of(now);
  exit_azimuth_rate_ = (azimuth_of(later) - exit_azimuth_) / tiny;
  exit_elevation_rate_ = (elevation_of(later) - exit_elevation_) / tiny;

  // The instant the tip meets the face of the butt.
  double low = 0.0;
  double high = kLongest_s;
  const auto tip_z = [this](double t) {
    const ArrowPose p = free_pose(t);
    return rigid_point(p, arrow_.length_m).z();
  };
  if (butt_m_ > 0.0 && tip_z(high) > butt_m_) {
    for (int i = 0; i < 60; ++i) {
      const double middle = 0.5 * (low + high);
      (tip_z(middle) < butt_m_ ? low : high) = middle;
    }
    impact_after_s_ = high;
  }

  truth_.exit_s = shot_.loose_s + power_s_;
  const double start_s = truth_.exit_s + start_after_exit_s_;
  truth_.impact_s = impact_after_s_ < 1e8 ? start_s + impact_after_s_ : 0.0;
  truth_.speed_mps = state_after(0.0).velocity.norm();
  const auto measured = [this](double t) -> Eigen::Vector2d {
    const State s = state_after(t);
    const Eigen::Vector3d d = axis_for(s);
    return Eigen::Vector2d(azimuth_of(s.velocity) - azimuth_of(d),
                           elevation_of(s.velocity) - elevation_of(d)) /
           kRad;
  };
  const double at = time_of_nock_z(kReferenceNock_m);
  truth_.reference_s = start_s + at;
  const Eigen::Vector2d value = measured(at);
  const double before = time_of_nock_z(kReferenceNock_m - 0.05);
  const double after = time_of_nock_z(kReferenceNock_m + 0.05);
  const Eigen::Vector2d slope = (measured(after) - measured(before)) / 0.1;
  truth_.nock_right_deg = value.x();
  truth_.nock_high_deg = value.y();
  truth_.nock_right_slope_deg_per_m = slope.x();
  truth_.nock_high_slope_deg_per_m = slope.y();
}

double ArrowFlight::offset(double path, double value_deg, double slope) const {
  const double kappa = 2.0 * std::numbers::pi / shot_.wavelength_m;
  const double decay = shot_.damping_ratio * kappa;
  const double k = kappa * std::sqrt(1.0 - shot_.damping_ratio * shot_.damping_ratio);
  const double x = path - reference_path_m_;
  return kRad * std::exp(-decay * x) *
         (value_deg * std::cos(k * x) + (slope + decay * value_deg) / k * std::sin(k * x));
}

Eigen::Vector2d ArrowFlight::offsets(double path) const {
  const StrokeHistory& h = shot_.stroke;
  // The simulated stretch ends at the reference; value and slope go on from there without a jump.
  if (h.empty() || path >= reference_path_m_) {
    return {offset(path, shot_.nock_right_deg, shot_.nock_right_slope_deg_per_m),
            offset(path, shot_.nock_high_deg, shot_.nock_high_slope_deg_per_m)};
  }
  const double x =
      std::clamp(path - reference_path_m_ + kReferenceNock_m, h.path_m.front(), h.path_m.back());
  const auto above = std::upper_bound(h.path_m.begin() + 1, h.path_m.end() - 1, x);
  const auto i = static_cast<std::size_t>(above - h.path_m.begin());
  const double span = h.path_m[i] - h.path_m[i - 1];
  const double t = (x - h.path_m[i - 1]) / span;
  const auto at = [&](const std::vector<double>& value, const std::vector<double>& slope) {
    const double t2 = t * t;
    const double t3 = t2 * t;
    return kRad * (value[i - 1] * (2.0 * t3 - 3.0 * t2 + 1.0) + value[i] * (3.0 * t2 - 2.0 * t3) +
                   span * (slope[i - 1] * (t3 - 2.0 * t2 + t) + slope[i] * (t3 - t2)));
  };
  return {at(h.nock_right_deg, h.nock_right_slope_deg_per_m),
          at(h.nock_high_deg, h.nock_high_slope_deg_per_m)};
}

Eigen::Vector3d ArrowFlight::axis_for(const State& state) const {
  const Eigen::Vector2d off = offsets(state.path);
  return direction(azimuth_of(state.velocity) - off.x(), elevation_of(state.velocity) - off.y());
}

void ArrowFlight::prescribed_start(State& state) {
  const Eigen::Vector3d exit_axis = axis_for(state);
  // At full draw the axis passes through the rest, the point `point_past_rest_m` beyond it; the
  // centre of mass then runs along the launch direction until the nock is a brace height behind.
  const Eigen::Vector3d hold_centre =
      hold_axis_ * (shot_.point_past_rest_m - arrow_.length_m + centre_from_nock_m_);
  stroke_m_ = (-brace_m_ + centre_from_nock_m_ * exit_axis.z() - hold_centre.z()) / launch_.z();
  exit_centre_ = hold_centre + launch_ * stroke_m_;
  power_s_ = stroke_m_ / (shot_.speed_mps * pushed(1.0, shot_.push_shape));
  state.centre = exit_centre_;
}

void ArrowFlight::simulated_start(State& state) {
  const StrokeHistory& h = shot_.stroke;
  power_s_ = h.exit_s;
  start_after_exit_s_ = h.t_s.back() - h.exit_s;
  stroke_m_ = h.rest_from_nock_m.front() - brace_m_;
  const ArrowPose held = simulated_pose(0.0);
  hold_axis_ = held.axis;
  exit_centre_ = simulated_pose(h.t_s.back()).centre_m;
  state.centre = exit_centre_;
}

void ArrowFlight::integrate() {
  State state;
  state.velocity = launch_ * shot_.speed_mps;
  state.path = 0.0;
  if (shot_.stroke.empty()) {
    prescribed_start(state);
  } else {
    simulated_start(state);
  }

  const double kappa = 2.0 * std::numbers::pi / shot_.wavelength_m;
  const auto acceleration = [&](const State& s) {
    const double v = s.velocity.norm();
    Eigen::Vector3d a = Eigen::Vector3d(0.0, kGravity, 0.0) - shot_.drag_per_m * v * s.velocity;
    if (shot_.lift_eta_m != 0.0) {
      const double push = shot_.lift_eta_m * kappa * kappa * v * v;
      const double az = azimuth_of(s.velocity);
      const double el = elevation_of(s.velocity);
      const Eigen::Vector3d right(std::cos(az), 0.0, -std::sin(az));
      const Eigen::Vector3d up(-std::sin(az) * std::sin(el), -std::cos(el),
                               -std::cos(az) * std::sin(el));
      const Eigen::Vector2d off = offsets(s.path);
      a -= push * (off.x() * right + off.y() * up);
    }
    return a;
  };
  const auto advanced = [](const State& s, const Eigen::Vector3d& v, const Eigen::Vector3d& a,
                           double h) {
    return State{s.centre + h * v, s.velocity + h * a, s.path + h * v.norm()};
  };
  const int steps = static_cast<int>(kLongest_s / kStep_s) + 2;
  table_.clear();
  table_.reserve(static_cast<std::size_t>(steps));
  for (int i = 0; i < steps; ++i) {
    table_.push_back(state);
    // Classical fourth-order Runge-Kutta.
    const Eigen::Vector3d a1 = acceleration(state);
    const State s2 = advanced(state, state.velocity, a1, 0.5 * kStep_s);
    const Eigen::Vector3d a2 = acceleration(s2);
    const State s3 = advanced(state, s2.velocity, a2, 0.5 * kStep_s);
    const Eigen::Vector3d a3 = acceleration(s3);
    const State s4 = advanced(state, s3.velocity, a3, kStep_s);
    const Eigen::Vector3d a4 = acceleration(s4);
    const double w = kStep_s / 6.0;
    State next = state;
    next.centre += w * (state.velocity + 2.0 * s2.velocity + 2.0 * s3.velocity + s4.velocity);
    next.velocity += w * (a1 + 2.0 * a2 + 2.0 * a3 + a4);
    next.path += w * (state.velocity.norm() + 2.0 * s2.velocity.norm() + 2.0 * s3.velocity.norm() +
                      s4.velocity.norm());
    state = next;
  }
}

ArrowFlight::State ArrowFlight::state_after(double t) const {
  const double position = std::clamp(t / kStep_s, 0.0, static_cast<double>(table_.size() - 2));
  const auto i = static_cast<std::size_t>(position);
  const double x = position - static_cast<double>(i);
  const State& a = table_[i];
  const State& b = table_[i + 1];
  const double x2 = x * x;
  const double x3 = x2 * x;
  State s;
  s.centre = (2.0 * x3 - 3.0 * x2 + 1.0) * a.centre + (3.0 * x2 - 2.0 * x3) * b.centre +
             kStep_s * ((x3 - 2.0 * x2 + x) * a.velocity + (x3 - x2) * b.velocity);
  s.velocity = a.velocity + x * (b.velocity - a.velocity);
  s.path = a.path + (s.centre - a.centre).norm();
  return s;
}

double ArrowFlight::nock_z(double t) const {
  const State s = state_after(t);
  return s.centre.z() - centre_from_nock_m_ * axis_for(s).z();
}

double ArrowFlight::time_of_nock_z(double z) const {
  double low = 0.0;
  double high = kLongest_s;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (nock_z(middle) < z ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

Eigen::Vector3d ArrowFlight::at_z(double z) const {
  double low = 0.0;
  double high = kLongest_s;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (state_after(middle).centre.z() < z ? low : high) = middle;
  }
  return state_after(low).centre;
}

ArrowPose ArrowFlight::free_pose(double t) const {
  const State s = state_after(t);
  ArrowPose pose;
  pose.phase = ArrowPhase::flying;
  pose.centre_m = s.centre;
  pose.velocity_mps = s.velocity;
  pose.axis = axis_for(s);
  bend(pose, t + start_after_exit_s_, 1.0);
  pose.roll_rad = roll(t);
  return pose;
}

double ArrowFlight::roll(double t) const {
  const double up = arrow_.spin_up_s;
  const double spun_s = up > 0.0 ? t - up * (1.0 - std::exp(-t / up)) : t;
  return arrow_.vane_roll_deg * kRad + 2.0 * std::numbers::pi * arrow_.spin_hz * spun_s;
}

void ArrowFlight::bend(ArrowPose& pose, double since_exit, double grown) const {
  const double az = azimuth_of(pose.axis);
  const double el = elevation_of(pose.axis);
  const Eigen::Vector3d right(std::cos(az), 0.0, -std::sin(az));
  const Eigen::Vector3d up(-std::sin(az) * std::sin(el), -std::cos(el),
                           -std::cos(az) * std::sin(el));
  const double damping = shot_.flex_damping_ratio;
  pose.bend_m = grown * (right * flex(since_exit, shot_.flex_lateral_mm * 1e-3, shot_.flex_hz,
                                      shot_.flex_phase_deg, damping) +
                         up * flex(since_exit, shot_.flex_vertical_mm * 1e-3, shot_.flex_hz,
                                   shot_.flex_vertical_phase_deg, damping));
  const auto second = [&](double amplitude_mm) {
    return flex(since_exit, amplitude_mm * 1e-3, shot_.flex2_hz, shot_.flex2_phase_deg,
                shot_.flex2_damping_ratio);
  };
  pose.bend2_m =
      grown * (right * second(shot_.flex2_lateral_mm) + up * second(shot_.flex2_vertical_mm));
}

ArrowPose ArrowFlight::pose(double t) const {
  const double since_loose = t - shot_.loose_s;
  const double since_exit = since_loose - power_s_;
  const double since_start = since_exit - start_after_exit_s_;
  if (since_start >= impact_after_s_) {
    // Stopped within a hand's breadth or two, then shivering about the point.
    ArrowPose pose = free_pose(impact_after_s_);
    const double dt = since_start - impact_after_s_;
    const double stop_s = 0.004;
    const double deep = std::min(pose.velocity_mps.norm() * stop_s, 0.25);
    const Eigen::Vector3d tip =
        rigid_point(pose, arrow_.length_m) + pose.axis * deep * (1.0 - std::exp(-dt / stop_s));
    const double shiver =
        0.012 * std::exp(-dt / 0.12) * std::sin(2.0 * std::numbers::pi * 27.0 * dt);
    pose.axis = direction(azimuth_of(pose.axis) + 0.5 * shiver, elevation_of(pose.axis) + shiver);
    pose.centre_m = tip - pose.axis * (arrow_.length_m - centre_from_nock_m_);
    pose.bend_m *= std::exp(-dt / 0.05);
    pose.bend2_m *= std::exp(-dt / 0.02);
    pose.velocity_mps.setZero();
    pose.phase = ArrowPhase::in_butt;
    return pose;
  }
  if (since_start >= 0.0) {
    return free_pose(since_start);
  }
  if (!shot_.stroke.empty()) {
    const ArrowPose simulated = simulated_pose(std::max(since_loose, 0.0));
    return since_loose < 0.0 ? at_full_draw(simulated, t) : simulated;
  }
  const double tau = std::max(since_loose, 0.0);
  ArrowPose pose = free_pose(0.0);
  pose.phase = ArrowPhase::on_string;
  pose.roll_rad = arrow_.vane_roll_deg * kRad;
  const double share = tau / power_s_;
  const double az =
      hermite(azimuth_of(hold_axis_), exit_azimuth_, exit_azimuth_rate_, tau, power_s_);
  const double el =
      hermite(elevation_of(hold_axis_), exit_elevation_, exit_elevation_rate_, tau, power_s_);
  pose.axis = direction(az, el);
  const double to_go = 1.0 - pushed(share, shot_.push_shape) / pushed(1.0, shot_.push_shape);
  pose.centre_m = exit_centre_ - launch_ * stroke_m_ * to_go;
  pose.velocity_mps = launch_ * shot_.speed_mps * push_speed(share, shot_.push_shape);
  // The bend grows with the push; value and rate join those of free flight at exit.
  bend(pose, since_exit, smoothstep(share));
  return since_loose < 0.0 ? at_full_draw(pose, t) : pose;
}

// Still at full draw, or on the way there.
ArrowPose ArrowFlight::at_full_draw(ArrowPose pose, double t) const {
  pose.bend_m.setZero();
  pose.bend2_m.setZero();
  const double drawn = smoothstep((t - shot_.draw_start_s) / shot_.draw_lasts_s) *
                       (1.0 - smoothstep((t - shot_.let_down_s) / shot_.let_down_lasts_s));
  pose.centre_m += hold_axis_ * stroke_m_ * (1.0 - drawn);
  pose.velocity_mps.setZero();
  return pose;
}

ArrowPose ArrowFlight::simulated_pose(double t) const {
  const StrokeHistory& h = shot_.stroke;
  const auto above = std::upper_bound(h.t_s.begin() + 1, h.t_s.end() - 1, t);
  const auto i = static_cast<std::size_t>(above - h.t_s.begin());
  const double share = (t - h.t_s[i - 1]) / (h.t_s[i] - h.t_s[i - 1]);
  const auto at = [&](const std::vector<double>& column) {
    return column[i - 1] + share * (column[i] - column[i - 1]);
  };
  const auto change = [&](const std::vector<double>& column) {
    return (column[i] - column[i - 1]) / (h.t_s[i] - h.t_s[i - 1]);
  };
  const double aim_az = h.aim_azimuth_deg * kRad;
  const double aim_el = h.aim_elevation_deg * kRad;
  const Eigen::Vector3d ahead = direction(aim_az, aim_el);
  const Eigen::Vector3d right(std::cos(aim_az), 0.0, -std::sin(aim_az));
  const Eigen::Vector3d up = ahead.cross(-right);
  ArrowPose pose;
  pose.phase = t < h.exit_s ? ArrowPhase::on_string : ArrowPhase::flying;
  pose.roll_rad = arrow_.vane_roll_deg * kRad;
  pose.axis = direction(aim_az + at(h.azimuth_deg) * kRad, aim_el + at(h.elevation_deg) * kRad);
  pose.centre_m = ahead * (centre_from_nock_m_ - at(h.rest_from_nock_m)) +
                  1e-3 * (right * at(h.right_mm) + up * at(h.up_mm));
  pose.velocity_mps = -ahead * change(h.rest_from_nock_m) +
                      1e-3 * (right * change(h.right_mm) + up * change(h.up_mm));
  pose.bend_m = 1e-3 * (right * at(h.bend_right_mm) + up * at(h.bend_up_mm));
  return pose;
}

Eigen::Vector3d ArrowFlight::rigid_point(const ArrowPose& pose, double s) const {
  return pose.centre_m + pose.axis * (s - centre_from_nock_m_);
}

Eigen::Vector3d ArrowFlight::point(const ArrowPose& pose, double s) const {
  const double share = std::clamp(s / arrow_.length_m, 0.0, 1.0);
  return rigid_point(pose, s) + pose.bend_m * mode_.shape(share) +
         pose.bend2_m * mode2_.shape(share);
}

}  // namespace clipmaker
