// Where the arrow is at any time: at rest on the drawn string, pushed by it, in free flight, in the
// butt.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "beam.hpp"
#include "spec.hpp"

namespace clipmaker {

inline constexpr double kGravity = 9.81;
inline constexpr double kReferenceNock_m = 2.0;

double azimuth_of(const Eigen::Vector3d& w);
double elevation_of(const Eigen::Vector3d& w);
Eigen::Vector3d direction(double azimuth_rad, double elevation_rad);

enum class ArrowPhase { on_string, flying, in_butt };

// A bent arrow: rigid axis plus the first two bending modes in two planes.
struct ArrowPose {
  ArrowPhase phase = ArrowPhase::on_string;
  Eigen::Vector3d centre_m = Eigen::Vector3d::Zero();  // centre of mass
  Eigen::Vector3d velocity_mps = Eigen::Vector3d::Zero();
  Eigen::Vector3d axis = Eigen::Vector3d::UnitZ();    // rigid axis, nock to point
  Eigen::Vector3d bend_m = Eigen::Vector3d::Zero();   // displacement of the nock end by the mode
  Eigen::Vector3d bend2_m = Eigen::Vector3d::Zero();  // of the second mode
  double roll_rad = 0.0;                              // about the axis
};

struct ShotTruth {
  double nock_right_deg = 0.0;
  double nock_high_deg = 0.0;
  double nock_right_slope_deg_per_m = 0.0;  // per metre of Z(nock)
  double nock_high_slope_deg_per_m = 0.0;
  double speed_mps = 0.0;  // at exit
  double exit_s = 0.0;
  double reference_s = 0.0;  // Z(nock) = 2 m
  double impact_s = 0.0;     // 0: none within the flight computed
};

class ArrowFlight {
 public:
  ArrowFlight(const ArrowSpec& arrow, const ShotSpec& shot, double brace_m, double butt_m);

  // t in clip time.
  ArrowPose pose(double t_s) const;
  // A point of the bent arrow, s metres from the nock throat towards the point.
  Eigen::Vector3d point(const ArrowPose& pose, double s_m) const;
  // The same on the rigid axis.
  Eigen::Vector3d rigid_point(const ArrowPose& pose, double s_m) const;
  const ShotTruth& truth() const { return truth_; }
  const BeamMode& mode() const { return mode_; }
  double loose_s() const { return shot_.loose_s; }
  double exit_s() const { return truth_.exit_s; }
  double stroke_m() const { return stroke_m_; }
  // Where the centre of mass crosses the plane Z = z of the flight (ignoring the butt).
  Eigen::Vector3d at_z(double z_m) const;

 private:
  struct State {
    Eigen::Vector3d centre, velocity;
    double path = 0.0;  // distance flown since the start
  };
  void integrate();
  void prescribed_start(State& state);
  void simulated_start(State& state);
  State state_after(double since_start_s) const;
  double roll(double since_start_s) const;
  // Both bending modes in a plane each for right and up, `grown` of what they are in free flight.
  void bend(ArrowPose& pose, double since_exit_s, double grown) const;
  ArrowPose free_pose(double since_start_s) const;
  ArrowPose simulated_pose(double since_loose_s) const;
  ArrowPose at_full_draw(ArrowPose drawn, double t_s) const;
  double offset(double path_m, double value_deg, double slope_deg_per_m) const;  // radians
  Eigen::Vector2d offsets(double path_m) const;  // right and high, radians
  Eigen::Vector3d axis_for(const State& state) const;
  double nock_z(double since_start_s) const;
  double time_of_nock_z(double z_m) const;

  ArrowSpec arrow_;
  ShotSpec shot_;
  double brace_m_;
  double butt_m_;
  BeamMode mode_;
  BeamMode mode2_;
  double centre_from_nock_m_;
  double reference_path_m_;
  double stroke_m_ = 0.5;
  double power_s_ = 0.015;
  // The free flight is computed from here on: the exit or, after a simulated stroke, the instant
  // the nock passes the rest (until then the tail may touch the bow).
  double start_after_exit_s_ = 0.0;
  Eigen::Vector3d launch_;
  Eigen::Vector3d hold_axis_;
  Eigen::Vector3d exit_centre_;
  double exit_azimuth_ = 0.0, exit_elevation_ = 0.0;            // of the axis
  double exit_azimuth_rate_ = 0.0, exit_elevation_rate_ = 0.0;  // rad/s
  double impact_after_s_ = 1e9;
  std::vector<State> table_;
  ShotTruth truth_;
};

}  // namespace clipmaker
