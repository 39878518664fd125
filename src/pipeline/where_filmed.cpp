#include "where_filmed.hpp"

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stretch.hpp"

namespace nocktrail::pipeline {
namespace {

// Right, above, behind of the rest, metres.
Eigen::VectorXd camera_from_rest(const flight::FlightFit& fit, const flight::Parameters& p,
                                 const flight::Stroke& stroke) {
  const flight::ArrowState<double> state =
      flight::state_at<double>(p.data(), fit.principal_px, stroke.exit_s - fit.anchor_s);
  const Eigen::Vector3d nock = flight::shaft_point(state, 0.0, 0.0);
  const Eigen::Vector3d rest_m =
      nock + state.forward * (stroke.rest_forward_m - state.forward.dot(nock));
  return Eigen::Vector3d(-rest_m.dot(state.right), rest_m.dot(state.down),
                         rest_m.dot(state.forward));
}

}  // namespace

std::optional<FilmedFrom> where_filmed(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot) {
  constexpr double kFrom_s = 0.040;
  constexpr double kTo_s = 0.005;
  const flight::Stroke& stroke = *shot.stroke;
  const cv::Mat before = mean_between(luma, shot, stroke.loose_s - kFrom_s, stroke.loose_s - kTo_s);
  if (before.empty()) {
    return std::nullopt;
  }
  const flight::Derived place = flight::derive(
      shot.fit, [&](const flight::Parameters& p) { return camera_from_rest(shot.fit, p, stroke); });
  constexpr double kTwoSided95 = 1.96;
  const auto measured = [&](int i, double more_sigma) {
    return Measured{
        place.value[i],
        kTwoSided95 * std::hypot(std::sqrt(std::max(place.covariance(i, i), 0.0)), more_sigma)};
  };
  FilmedFrom from;
  from.right_m = measured(0, 0.0);
  from.above_m = measured(1, 0.0);
  from.behind_m = measured(2, stroke.rest_sigma_m);
  cv::Mat small;
  cv::resize(before, small, {kBackdropSide, kBackdropSide}, 0.0, 0.0, cv::INTER_AREA);
  from.backdrop.assign(small.begin<std::uint8_t>(), small.end<std::uint8_t>());
  return from;
}

}  // namespace nocktrail::pipeline
