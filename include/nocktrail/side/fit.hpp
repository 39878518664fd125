// Fits the flight across the picture to all sightings of a shot together.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/side/model.hpp"
#include "nocktrail/track/sighting.hpp"

namespace nocktrail::side {

// What is believed before the clip is looked at, where flight::FlightPriors does not say it. The
// README asks for a camera 2 to 4 m beside the line, within 30 degrees of square to it, at the
// arrow's height within 10 cm.
struct SidePriors {
  flight::FlightPriors flight;
  flight::Prior distance_m{3.0, 1.2};
  flight::Prior yaw_rad{0.0, 0.35};
  flight::Prior roll_rad{0.0, 0.04};  // held level by eye, where the scenery does not say
  flight::Prior pitch_rad{0.0, 0.10};
  double above_sigma_m = 0.12;     // the camera's height over the arrow
  double right_sigma_rad = 0.052;  // the lateral offset, a nuisance here: 3 deg
  double distortion_sigma = 0.02;
  // Where nock and point end in the picture: ears stand behind the throat, a point tapers. A nock,
  // a point or a crest of the ground's brightness hides some centimetres in all frames alike.
  flight::Prior nock_end_m{0.0, 0.020};
  flight::Prior tip_end_m{-0.008, 0.020};
};

struct SideFitOptions {
  SidePriors priors;
  // Outlines of one shaft err alike over much of its length and in neighbouring frames (its lit
  // side, what stands behind it): nine of them tell as much as one. Taken as independent, a few
  // tenths of a pixel in the path's fall by gravity told the scale, against all the ends.
  double centre_alike = 3.0;
  double robust_sigmas = 2.0;
  int max_iterations = 60;
  Eigen::Vector2d readout_per_px = Eigen::Vector2d::Zero();  // as in flight::FitOptions
};

struct SideFit {
  bool converged = false;
  Parameters parameters = Parameters::Zero();
  Eigen::MatrixXd covariance;         // kParameters square, scaled by the residuals' scatter
  Eigen::MatrixXd shared_covariance;  // of it, what comes of the priors, see flight::FlightFit
  double anchor_s = 0.0;
  double way = 1.0;  // +1: the flight goes to the picture's right
  Eigen::Vector2d principal_px = Eigen::Vector2d::Zero();
  double centre_scale = 1.0;
  double end_scale = 1.0;
  double cost = 0.0;
  int frames = 0;
  int centre_points = 0;
  int ends = 0;
};

// Least squares with Cauchy loss (Ceres Solver, Levenberg-Marquardt), automatic differentiation.
// `start` gives place, depth, slope, speed; the yaw is searched.
SideFit fit_side(const std::vector<track::ArrowSighting>& sightings, const Parameters& start,
                 double way, double anchor_s, const Eigen::Vector2d& principal_px, double focal_px,
                 const SideFitOptions& options);

flight::ArrowState<double> state_of(const SideFit& fit, double t_s);

// The shaft's share s (0 nock, 1 point end) in the picture.
Eigen::Vector2d seen_px(const SideFit& fit, double t_s, double s);

// Downrange way of the nock since the anchor's centre of mass, metres.
double nock_forward_m(const SideFit& fit, double t_s);

struct SideHeadline {
  double time_s = 0.0;  // when the nock passes the reference distance
  Measured high_rad;
  Measured high_rate;  // rad per m
  Measured speed_mps;  // as the nock leaves the string
  double shared_high_u95_rad = 0.0;
  Measured flex_hz;
  Measured flex_amplitude_m;
  double flex_sigmas = 0.0;
};

// The offset where the nock is flight::kReferenceM past the rest; as flight::headline_at.
SideHeadline headline_of(const SideFit& fit, double rest_forward_m, double rest_sigma_m);

}  // namespace nocktrail::side
