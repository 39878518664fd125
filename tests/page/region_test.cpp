#include "region.hpp"

#include <doctest/doctest.h>

#include <boost/math/distributions/students_t.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

using namespace nocktrail;
using page::region95_radius;

TEST_CASE("reference: the radius of the 95 % region follows from the F table") {
  // F(2, m; 0.95) for m = 4, 9, 19 and half of chi-square(2; 0.95), as every table of the F
  // distribution has them: 6.944, 4.256, 3.522, 2.996. T^2 = 2 f / (f - 1) F(2, f - 1).
  CHECK(std::pow(*region95_radius(5.0), 2) == doctest::Approx(2.5 * 6.944).epsilon(2e-4));
  CHECK(std::pow(*region95_radius(10.0), 2) == doctest::Approx(20.0 / 9.0 * 4.256).epsilon(2e-4));
  CHECK(std::pow(*region95_radius(20.0), 2) == doctest::Approx(40.0 / 19.0 * 3.522).epsilon(2e-4));
  CHECK(std::pow(*region95_radius(1e9), 2) == doctest::Approx(2.0 * 2.996).epsilon(4e-4));
  CHECK(std::pow(*region95_radius(std::numeric_limits<double>::infinity()), 2) ==
        doctest::Approx(2.0 * 2.996).epsilon(4e-4));
}

TEST_CASE("unit: too few shots give no region, nor does what is not a number") {
  CHECK_FALSE(region95_radius(1.0));
  CHECK_FALSE(region95_radius(2.0));
  CHECK_FALSE(region95_radius(std::numeric_limits<double>::quiet_NaN()));
  tune::SetupJudgement setup;
  CHECK(page::regions95(setup).mean.empty());
  setup.lateral = tune::OffsetSummary{std::nan(""), 0.4, 0.3, 5.0};
  setup.vertical = tune::OffsetSummary{0.1, 0.4, 0.3, 5.0};
  CHECK(page::regions95(setup).mean.empty());
  setup.lateral = tune::OffsetSummary{0.0, 0.0, 0.0, 5.0};
  CHECK(page::regions95(setup).mean.empty());
}

TEST_CASE("truth: over many sets of shots the regions hold the mean and the next shot 95 in 100") {
  // Six shots from a bivariate normal of known mean, spread and correlation; the polygon test is
  // OpenCV's. Bounds: 3.3 standard deviations of a binomial of 4000 trials, 0.0114.
  constexpr int kTrials = 4000;
  constexpr int kShots = 6;
  const Eigen::Vector2d truth(-1.2, 0.7);
  boost::random::mt19937_64 generator(20260314);
  boost::random::normal_distribution<double> normal;
  const auto shot = [&] {
    const double a = normal(generator);
    const double b = normal(generator);
    return Eigen::Vector2d(truth.x() + 0.5 * a, truth.y() + 0.3 * (0.6 * a + 0.8 * b));
  };
  const auto holds = [](const std::vector<Eigen::Vector2d>& outline, const Eigen::Vector2d& point) {
    std::vector<cv::Point2f> polygon;
    for (const Eigen::Vector2d& corner : outline) {
      polygon.emplace_back(static_cast<float>(corner.x()), static_cast<float>(corner.y()));
    }
    const cv::Point2f at(static_cast<float>(point.x()), static_cast<float>(point.y()));
    return cv::pointPolygonTest(polygon, at, false) >= 0.0;
  };
  const double t = boost::math::quantile(boost::math::students_t(kShots - 1.0), 0.975);
  int mean_held = 0;
  int shot_held = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    Eigen::Matrix<double, 2, kShots> shots;
    for (int i = 0; i < kShots; ++i) {
      shots.col(i) = shot();
    }
    const Eigen::Vector2d mean = shots.rowwise().mean();
    const Eigen::Matrix<double, 2, kShots> off = shots.colwise() - mean;
    const Eigen::Matrix2d spread = off * off.transpose() / (kShots - 1.0);
    const double sx = std::sqrt(spread(0, 0));
    const double sy = std::sqrt(spread(1, 1));
    tune::SetupJudgement setup;
    setup.lateral = tune::OffsetSummary{mean.x(), t * sx / std::sqrt(kShots), sx, kShots - 1.0};
    setup.vertical = tune::OffsetSummary{mean.y(), t * sy / std::sqrt(kShots), sy, kShots - 1.0};
    setup.correlation = spread(0, 1) / (sx * sy);
    const page::Regions regions = page::regions95(setup);
    mean_held += holds(regions.mean, truth) ? 1 : 0;
    shot_held += holds(regions.shots, shot()) ? 1 : 0;
  }
  MESSAGE("held: mean " << mean_held << ", next shot " << shot_held << " of " << kTrials);
  CHECK(mean_held / double{kTrials} == doctest::Approx(0.95).epsilon(0.0114 / 0.95));
  CHECK(shot_held / double{kTrials} == doctest::Approx(0.95).epsilon(0.0114 / 0.95));
}
