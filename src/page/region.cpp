#include "region.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numbers>

namespace nocktrail::page {
namespace {

constexpr int kCorners = 72;
constexpr double kManyFreedom = 1e6;  // as good as infinite, and safe for the quantiles
constexpr double kMostCorrelation = 0.98;

double standard_uncertainty(const tune::OffsetSummary& summary) {
  const boost::math::students_t t(std::clamp(summary.freedom, 1.0, kManyFreedom));
  return summary.u95_deg / boost::math::quantile(t, 0.975);
}

Eigen::Matrix2d covariance(double sigma_x, double sigma_y, double correlation) {
  const double off =
      std::clamp(correlation, -kMostCorrelation, kMostCorrelation) * sigma_x * sigma_y;
  Eigen::Matrix2d result;
  result << sigma_x * sigma_x, off, off, sigma_y * sigma_y;
  return result;
}

std::vector<Eigen::Vector2d> outline(const Eigen::Vector2d& centre, const Eigen::Matrix2d& spread,
                                     double radius) {
  const Eigen::LLT<Eigen::Matrix2d> factors(spread);
  std::vector<Eigen::Vector2d> points;
  if (!spread.allFinite() || !centre.allFinite() || factors.info() != Eigen::Success) {
    return points;
  }
  const Eigen::Matrix2d root = factors.matrixL();
  for (int i = 0; i < kCorners; ++i) {
    const double angle = 2.0 * std::numbers::pi * i / kCorners;
    points.emplace_back(centre + radius * root * Eigen::Vector2d(std::cos(angle), std::sin(angle)));
  }
  return points;
}

}  // namespace

std::optional<double> region95_radius(double freedom) {
  if (std::isnan(freedom) || freedom < kFewestFreedom) {
    return std::nullopt;
  }
  const double f = std::min(freedom, kManyFreedom);
  const boost::math::fisher_f fisher(2.0, f - 1.0);
  return std::sqrt(2.0 * f / (f - 1.0) * boost::math::quantile(fisher, 0.95));
}

Regions regions95(const tune::SetupJudgement& setup) {
  Regions regions;
  if (!setup.lateral || !setup.vertical) {
    return regions;
  }
  const std::optional<double> radius =
      region95_radius(std::min(setup.lateral->freedom, setup.vertical->freedom));
  if (!radius) {
    return regions;
  }
  const Eigen::Vector2d centre(setup.lateral->mean_deg, setup.vertical->mean_deg);
  const double correlation = std::isfinite(setup.correlation) ? setup.correlation : 0.0;
  const Eigen::Matrix2d of_mean = covariance(standard_uncertainty(*setup.lateral),
                                             standard_uncertainty(*setup.vertical), correlation);
  const Eigen::Matrix2d of_shots =
      covariance(setup.lateral->scatter_deg, setup.vertical->scatter_deg, correlation);
  regions.mean = outline(centre, of_mean, *radius);
  regions.shots = outline(centre, of_mean + of_shots, *radius);
  return regions;
}

}  // namespace nocktrail::page
