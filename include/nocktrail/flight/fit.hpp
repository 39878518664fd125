// Fits the flight model to all sightings of a shot together.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <optional>
#include <vector>

#include "nocktrail/flight/model.hpp"
#include "nocktrail/track/sighting.hpp"

namespace nocktrail::flight {

// A normal prior of one parameter.
struct Prior {
  double mean = 0.0;
  double sigma = 1.0;
};

// What is believed before the clip is looked at. Sources
// named; the rest is common practice, no source.
struct FlightPriors {
  Prior length_m{0.76, 0.05};          // 26-33 in arrows, nock to point end
  double focal_relative_sigma = 0.10;  // contract: 10 % when assumed
  Prior roll_rad{0.0, 0.04};           // hand-held phone, levelled by eye: 2.3 deg
  Prior log_speed{3.98, 0.17};         // 53 m/s within 17 %: 38-70 m/s, traditional bows
  Prior readout_s{0.0018, 0.0013};     // at most a frame period
  Prior log_wave{3.05, 0.62};          // 21 m, 6-70 m at 2 sigma: fletched 10-22 m, bare 28-80 m
  Prior damping{0.09, 0.04};           // 0.05-0.15
  double right_sigma_rad = 0.09;       // 5 deg
  double high_sigma_rad = 0.05;        // 3 deg: less usual than sideways
  double offset_rate_sigma = 0.05;     // rad per m
  Prior lift_m{0.08, 0.08};            // between a pure couple and all force on the tail
  Prior drag_mps2{4.0, 4.0};           // C_D 1.5-2.6 (Miyazaki et al. 2013) on the shaft's section
  double flex_right_sigma_m = 0.010;   // 10-20 mm at exit
  double flex_down_sigma_m = 0.006;    // the string slips off sideways; a canted bow turns that
  Prior flex_hz{72.0, 10.0};           // 55-90 Hz
  Prior flex_decay{10.0, 8.0};         // 1/s
  Prior nock_end_m{0.0, 0.020};      // nock, vanes and point are lighter or darker than the shaft:
  Prior tip_end_m{0.0, 0.020};       // half the contrast of a smear of 50-100 mm is not its middle
  Prior rear_drop_m{0.0015, 0.005};  // vanes stand 10-16 mm off; one may point down
  // The same in all frames: blur, codec, tone curve and a bright nock put an end elsewhere than
  // where half the contrast is.
  double nock_bias_px = 1.5;
  double tip_bias_px = 1.5;
  // Of a far arrow's picture: vanes are wider than the shaft, a near rear larger than a far point.
  Prior middle_m{-0.03, 0.07};
  double sway_sigma_mps2 = 0.3;      // of the hands that hold the camera, over a tenth of a second
  Prior tip_mass_ratio{0.42, 0.17};  // 100-150 gr points on shafts of 230-420 gr
  // Where the camera stands, for the scale of the scene (speed and distance alone trade against the
  // arrow's pitch). The README asks for 1.2-1.7 m and 0.4-0.7 m; whoever stands elsewhere is at
  // least behind the archer's head, a draw length (0.7 m) behind the rest. Beyond 1.95 m, two
  // sigmas, the interval up and down was seen not to hold; wider, and fewer clips settle
  // (docs/accuracy.md).
  Prior camera_behind_m{1.45, 0.25};  // of the rest, along the flight
  Prior camera_above_m{0.56, 0.14};   // from the line of flight, at the anchor
};

// When the point was known to be how far on: a distance that was told, and both its ends timed.
struct Flown {
  double from_s = 0.0;   // the nock leaves the string
  double to_s = 0.0;     // the point strikes the butt
  double metres = 0.0;   // from the nock's place at the one to the point's at the other
  double sigma_m = 0.0;  // 1 sigma; the doubt of both times is in it, at the speed flown
};

struct FitOptions {
  FlightPriors priors;
  std::optional<Flown> flown;
  // When the nock leaves the string, if known: ties camera_behind_m to the flight.
  std::optional<double> exit_s;
  double exit_sigma_s = 0.002;
  // Leftover motion of the camera between frames that no frame's own camera_sigma_px tells of
  // (near things shift against far ones), 1 sigma per axis.
  double frame_jitter_px = 0.08;
  double robust_sigmas = 2.0;  // residuals beyond this many sigmas lose weight (Cauchy)
  int max_iterations = 60;
  int first_iterations = 15;   // of each start of a search, before the best are pursued
  bool fixed_scatter = false;  // trust the given sigmas instead of rescaling them (for bounds)
  bool coarse = false;         // first look: no bending, wide robust loss
  // Row axis of the sensor in display pixels: time within a frame grows along it, 0 at the
  // picture's centre, +-0.5 at the edges (value = rows_per_px . (pixel - centre)).
  Eigen::Vector2d readout_per_px = Eigen::Vector2d::Zero();
};

struct FrameResidual {
  int frame = 0;
  double centre_rms = 0.0;     // of the centre points, sigmas
  std::optional<double> nock;  // signed, sigmas
  std::optional<double> tip;
};

struct FlightFit {
  bool converged = false;
  Parameters parameters = Parameters::Zero();
  Eigen::MatrixXd covariance;  // kParameters square, jitter marginalised; residual scale included
  // Of that, what comes of the priors being off: focal length, arrow, place of the camera and the
  // rest are in the next shot of the same phone, place and arrow what they are in this one, so it
  // does not average out: with the posterior P and the priors' precision L that is P L P. Of the
  // rest, which comes of what was sighted, half: the same arrow passes the same scenery, and is
  // sighted alike (docs/method.md has the measurement).
  Eigen::MatrixXd shared_covariance = Eigen::MatrixXd::Zero(kParameters, kParameters);
  double anchor_s = 0.0;  // capture time of dt = 0
  Eigen::Vector2d principal_px = Eigen::Vector2d::Zero();
  double centre_scale = 1.0;  // scatter of centre points over what was assumed
  double end_scale = 1.0;     // same for the ends
  double cost = 0.0;          // half the robust sum of squares
  int frames = 0;
  int centre_points = 0;
  int ends = 0;
  int middles = 0;  // of far arrows
  std::vector<FrameResidual> residuals;
};

// The camera is a pinhole with its principal point at the picture's centre. `start` must be within
// the basin (a coarse fit from a sweep is). Least squares with Cauchy loss, saturating on one side
// for ends that may be hidden (Ceres Solver, Levenberg-Marquardt), covariance from the weighted
// normal equations of the solution, scaled by the residuals' own scatter per kind of observation.
FlightFit fit_flight(const std::vector<track::ArrowSighting>& sightings, const Parameters& start,
                     double anchor_s, double focal_px, const Eigen::Vector2d& principal_px,
                     const FitOptions& options);

// What the starts of a search differ in.
enum class Spread {
  pitch,  // nose-up or nose-down: seen from a few degrees above they can look alike
  flex,   // a bending of 3-4 frames a cycle has several frequencies that nearly fit
  scale   // a near, slow arrow and a far, fast one of another pitch
};

// Fits from several starts and keeps the best.
FlightFit fit_flight_from_several(const std::vector<track::ArrowSighting>& sightings,
                                  const Parameters& start, Spread spread, double anchor_s,
                                  double focal_px, const Eigen::Vector2d& principal_px,
                                  const FitOptions& options);

ArrowState<double> state_of(const FlightFit& fit, double t_s);

// Where a share s of the shaft is seen at time t_s, px of the reference frame. With `ends`, the
// visible ends' offsets are applied at s = 0 and s = 1.
Eigen::Vector2d seen_px(const FlightFit& fit, double t_s, double s);

// A function of the parameters with its 1-sigma error by the delta method (central differences;
// JCGM 100:2008, 5.1.2).
struct Derived {
  Eigen::VectorXd value;
  Eigen::MatrixXd covariance;
  Eigen::MatrixXd shared_covariance;  // of it, what the next shot shares
};
Derived derive(const FlightFit& fit,
               const std::function<Eigen::VectorXd(const Parameters&)>& function);

}  // namespace nocktrail::flight
