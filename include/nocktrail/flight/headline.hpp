// The numbers a fit is asked for: the offset where the nock is at the reference distance.
#pragma once

#include <optional>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail::flight {

inline constexpr double kReferenceM = 2.0;  // contract: the nock past the rest

struct Headline {
  double time_s = 0.0;  // when the nock passes the distance
  Measured right_rad;   // value and u95
  Measured high_rad;
  Measured right_rate;  // rad per m
  Measured high_rate;
  double correlation = 0.0;  // of the errors of right and high
  // Of the u95 of right and high, the part that the next shot of the same phone, place and arrow
  // shares (FlightFit::shared_covariance), and the correlation of those parts.
  double shared_right_u95_rad = 0.0;
  double shared_high_u95_rad = 0.0;
  double shared_correlation = 0.0;
  Measured speed_mps;
  Measured flex_hz;
  Measured flex_amplitude_m;  // at the nock end, peak over both planes, at time_exit
  double flex_sigmas = 0.0;   // amplitude over its error: whether the flexing is there at all
};

// Downrange coordinate of the nock (from the camera, along the flight), metres.
double nock_forward_m(const Parameters& p, const Eigen::Vector2d& principal_px, double dt);

// Evaluates at the instant at which the nock is `distance_m` past the rest; the rest lies at
// rest_forward_m +- rest_sigma_m (1 sigma) from the camera along the flight, and its error enters
// through the slope. u95 = Student's factor times the sigma of the delta method
// (JCGM 100:2008), with `freedom` degrees of freedom, or a third of the frames where none are
// given: what neighbouring frames show is not independent.
Headline headline_at(const FlightFit& fit, double rest_forward_m, double rest_sigma_m,
                     double distance_m, std::optional<double> freedom = std::nullopt);

}  // namespace nocktrail::flight
