#include "expectation.hpp"

#include <algorithm>
#include <cmath>

#include "nocktrail/optics/camera.hpp"

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
  // The bent shaft against a straight one between its ends.
  const Eigen::Vector2d chord = (expected.tip_px - expected.nock_px).normalized();
  const Eigen::Vector2d across(-chord.y(), chord.x());
  const double focal_px = std::exp(fit.parameters[flight::kLogFocal]);
  const Eigen::Vector3d first = flight::shaft_point(state, 0.0, fit.parameters[flight::kNockEnd]);
  const Eigen::Vector3d last = flight::shaft_point(state, 1.0, fit.parameters[flight::kTipEnd]);
  const auto shape_at = [&](double share) {
    return flight::shape_at(share, state.tip_mass_ratio).value;
  };
  constexpr int kSteps = 20;
  for (int i = 0; i <= kSteps && expected.depth_ratio > 0.0; ++i) {
    const double fraction = static_cast<double>(i) / kSteps;
    const double share = fraction / (expected.depth_ratio * (1.0 - fraction) + fraction);
    const double bent = shape_at(share) - (1.0 - share) * shape_at(0.0) - share * shape_at(1.0);
    const Eigen::Vector3d straight = first + share * (last - first);
    const Eigen::Vector3d off = bent * (state.right * state.flex_right_m +  //
                                        state.down * state.flex_down_m);
    const Eigen::Vector2d off_px =
        optics::project<double>(focal_px, fit.principal_px, straight + off) -
        optics::project<double>(focal_px, fit.principal_px, straight);
    expected.bow_px.push_back(off_px.dot(across));
    expected.slip_px.push_back(off_px.dot(chord));
  }
  return expected;
}

bool inside(const cv::Size& size, const Eigen::Vector2d& p) {
  return p.x() > 2 && p.y() > 2 && p.x() < size.width - 3 && p.y() < size.height - 3;
}

}  // namespace nocktrail::pipeline
