#include "expectation.hpp"

#include <algorithm>
#include <cmath>

namespace nocktrail::pipeline {

track::Expected expect(const flight::FlightFit& fit, double t_s) {
  track::Expected expected;
  expected.nock_px = flight::seen_px(fit, t_s, 0.0);
  expected.tip_px = flight::seen_px(fit, t_s, 1.0);
  constexpr double kStep_s = 0.0005;
  const auto velocity = [&](double share) -> Eigen::Vector2d {
    return (flight::seen_px(fit, t_s + kStep_s, share) -
            flight::seen_px(fit, t_s - kStep_s, share)) /
           (2.0 * kStep_s);
  };
  expected.nock_velocity_px_s = velocity(0.0);
  expected.tip_velocity_px_s = velocity(1.0);
  const flight::ArrowState<double> state = flight::state_of(fit, t_s);
  const double nock_m = flight::shaft_point(state, 0.0, 0.0).z();
  const double tip_m = flight::shaft_point(state, 1.0, 0.0).z();
  expected.depth_ratio = nock_m > 0.2 ? tip_m / nock_m : 0.0;
  expected.width_px = std::exp(fit.parameters[flight::kLogFocal]) * kShaftDiameterM /
                      std::max(0.3, state.centre_m.z());
  // The bent shaft against its chord.
  const Eigen::Vector2d chord = (expected.tip_px - expected.nock_px).normalized();
  const Eigen::Vector2d across(-chord.y(), chord.x());
  const double length = (expected.tip_px - expected.nock_px).norm();
  constexpr int kSteps = 20;
  for (int i = 0; i <= kSteps && expected.depth_ratio > 0.0; ++i) {
    const double fraction = static_cast<double>(i) / kSteps;
    const double share = fraction / (expected.depth_ratio * (1.0 - fraction) + fraction);
    const Eigen::Vector2d on_chord = expected.nock_px + chord * (fraction * length);
    expected.bow_px.push_back(
        (flight::seen_px(fit, t_s, std::clamp(share, 1e-6, 1.0 - 1e-6)) - on_chord).dot(across));
  }
  return expected;
}

bool inside(const cv::Size& size, const Eigen::Vector2d& p) {
  return p.x() > 2 && p.y() > 2 && p.x() < size.width - 3 && p.y() < size.height - 3;
}

}  // namespace nocktrail::pipeline
