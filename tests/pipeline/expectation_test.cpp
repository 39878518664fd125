// Where the points of a bent shaft are expected, against the camera of a general-purpose library
// (OpenCV's cv::projectPoints): the projective map of the straight shaft (Hartley & Zisserman,
// section 2.5) and what the bend adds, along and across.
#include "expectation.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <vector>

#include "example_flight.hpp"

using namespace nocktrail;

TEST_CASE("truth: each point of a bent shaft is expected where the camera sees it") {
  flight::FlightFit fit = test::example_flight(0.05);
  fit.parameters[flight::kFlexHz] = 70.0;
  fit.parameters[flight::kFlexRightCos] = 0.009;
  fit.parameters[flight::kFlexDownCos] = -0.007;
  const double focal_px = std::exp(fit.parameters[flight::kLogFocal]);
  const cv::Matx33d camera(focal_px, 0.0, fit.principal_px.x(),  //
                           0.0, focal_px, fit.principal_px.y(),  //
                           0.0, 0.0, 1.0);
  double most_slip_px = 0.0;
  for (const double t_s : {-0.03, 0.0, 0.04}) {
    CAPTURE(t_s);
    const track::Expected expected = pipeline::expect(fit, t_s);
    const flight::ArrowState<double> state = flight::state_of(fit, t_s);
    const Eigen::Vector2d chord = expected.tip_px - expected.nock_px;
    const Eigen::Vector2d along = chord.normalized();
    const Eigen::Vector2d across(-along.y(), along.x());
    REQUIRE(expected.bow_px.size() == expected.slip_px.size());
    const auto steps = static_cast<double>(expected.bow_px.size() - 1);
    for (std::size_t i = 0; i < expected.bow_px.size(); ++i) {
      const double fraction = static_cast<double>(i) / steps;
      const double share = fraction / (expected.depth_ratio * (1.0 - fraction) + fraction);
      const Eigen::Vector3d at = flight::shaft_point(state, share, 0.0);
      std::vector<cv::Point2d> seen;
      cv::projectPoints(std::vector<cv::Point3d>{{at.x(), at.y(), at.z()}}, cv::Vec3d(),
                        cv::Vec3d(), camera, cv::noArray(), seen);
      const Eigen::Vector2d where = expected.nock_px + fraction * chord +
                                    expected.slip_px[i] * along + expected.bow_px[i] * across;
      CAPTURE(share);
      CHECK(std::abs(where.x() - seen.front().x) < 0.05);
      CHECK(std::abs(where.y() - seen.front().y) < 0.05);
      most_slip_px = std::max(most_slip_px, std::abs(expected.slip_px[i]));
    }
  }
  CHECK(most_slip_px > 1.0);  // else nothing was tested
}
