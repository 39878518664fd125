#include "nocktrail/flight/headline.hpp"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace nocktrail::flight {
namespace {

// Of the scatter, which is judged from the clip itself: it is the frames with both ends that carry
// the offset, and neighbouring ones share background and light, hence about a third as many degrees
// of freedom as such frames (JCGM 100:2008, G.3).
double freedom_of(int ends) {
  return std::max(3.0, ends / 2.0 / 3.0 - 1.0);
}

// Half width of a 95 % interval over its sigma: Student's.
double coverage95(double freedom) {
  return boost::math::quantile(boost::math::students_t(freedom), 0.975);
}

// Time at which the nock is at a forward coordinate: Newton from the mean speed, monotone enough.
double time_at_forward(const Parameters& p, const Eigen::Vector2d& principal_px, double forward_m) {
  double dt = 0.0;
  const double speed = std::exp(p[kLogSpeed]);
  for (int i = 0; i < 12; ++i) {
    dt += (forward_m - nock_forward_m(p, principal_px, dt)) / speed;
  }
  return dt;
}

}  // namespace

double nock_forward_m(const Parameters& p, const Eigen::Vector2d& principal_px, double dt) {
  const ArrowState<double> state = state_at<double>(p.data(), principal_px, dt);
  const Eigen::Vector3d nock = state.centre_m - state.axis * (state.balance * state.length_m);
  return nock.dot(state.forward);
}

Headline headline_at(const FlightFit& fit, double rest_forward_m, double rest_sigma_m,
                     double distance_m, std::optional<double> freedom) {
  const auto values = [&](const Parameters& p, double rest) {
    const double dt = time_at_forward(p, fit.principal_px, rest + distance_m);
    const ArrowState<double> state = state_at<double>(p.data(), fit.principal_px, dt);
    const double exit_dt = time_at_forward(p, fit.principal_px, rest - kBraceHeightM);
    const double amplitude =
        std::exp(-p[kFlexDecay] * exit_dt) *
        std::sqrt(p[kFlexRightCos] * p[kFlexRightCos] + p[kFlexRightSin] * p[kFlexRightSin] +
                  p[kFlexDownCos] * p[kFlexDownCos] + p[kFlexDownSin] * p[kFlexDownSin]);
    Eigen::VectorXd v(7);
    v << state.nock_right_rad, state.nock_high_rad, state.right_rate, state.high_rate,
        std::exp(p[kLogSpeed]) - p[kDrag] * exit_dt, p[kFlexHz], amplitude;
    return v;
  };
  // The scale of all lengths is the arrow's: when it moves, the rest's place moves with it.
  const double log_length = fit.parameters[kLogLength];
  const auto scaled_rest = [&](const Parameters& p) {
    return rest_forward_m * std::exp(p[kLogLength] - log_length);
  };
  const Derived derived =
      derive(fit, [&](const Parameters& p) { return values(p, scaled_rest(p)); });
  Eigen::MatrixXd covariance = derived.covariance;
  const double step = std::max(0.02, 0.5 * rest_sigma_m);
  const Eigen::VectorXd by_rest = (values(fit.parameters, rest_forward_m + step) -
                                   values(fit.parameters, rest_forward_m - step)) /
                                  (2.0 * step);
  covariance += rest_sigma_m * rest_sigma_m * by_rest * by_rest.transpose();

  const double coverage = coverage95(freedom.value_or(freedom_of(fit.ends)));
  const auto measured = [&](int i) {
    // In this order a covariance that is no number stays none: it must not become certainty.
    return Measured{derived.value[i], coverage * std::sqrt(std::max(covariance(i, i), 0.0))};
  };
  Headline headline;
  headline.time_s =
      fit.anchor_s + time_at_forward(fit.parameters, fit.principal_px, rest_forward_m + distance_m);
  headline.right_rad = measured(0);
  headline.high_rad = measured(1);
  headline.right_rate = measured(2);
  headline.high_rate = measured(3);
  headline.speed_mps = measured(4);
  headline.flex_hz = measured(5);
  headline.flex_amplitude_m = measured(6);
  const auto correlation = [](const Eigen::MatrixXd& c) {
    return c(0, 1) / std::sqrt(std::max(1e-30, c(0, 0) * c(1, 1)));
  };
  headline.correlation = correlation(covariance);
  const Eigen::MatrixXd& shared = derived.shared_covariance;
  headline.shared_right_u95_rad = coverage * std::sqrt(std::max(shared(0, 0), 0.0));
  headline.shared_high_u95_rad = coverage * std::sqrt(std::max(shared(1, 1), 0.0));
  headline.shared_correlation = correlation(shared);
  // How strongly the data ask for bending: chi-square of the four amplitudes.
  const Eigen::Vector4d q = fit.parameters.segment<4>(kFlexRightCos);
  const Eigen::Matrix4d c = fit.covariance.block<4, 4>(kFlexRightCos, kFlexRightCos);
  headline.flex_sigmas = std::sqrt(std::max(0.0, q.dot(c.ldlt().solve(q))));
  return headline;
}

}  // namespace nocktrail::flight
