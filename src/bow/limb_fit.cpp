#include "limb_fit.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "nocktrail/median.hpp"
#include "nocktrail/optics/camera.hpp"

namespace nocktrail::bow {
namespace {

constexpr int kShape = 5;  // cant, across, lean, back, side
using ShapeVector = Eigen::Matrix<double, kShape, 1>;
using ShapeMatrix = Eigen::Matrix<double, kShape, kShape>;

LimbShape shape_of(const ShapeVector& v) {
  return {v[0], v[1], v[2], v[3], v[4]};
}

// Signed distance in pixels of an edge pair's middle from the curve, to the right of it.
double aside_px(const Edges& edges, const Place& place, const LimbShape& shape,
                double half_length_m) {
  constexpr double kStep_m = 0.02;
  const auto seen = [&](double up_m) {
    return optics::project<double>(place.focal_px, place.principal_px,
                                   limb_point(place, shape, up_m, half_length_m));
  };
  const Eigen::Vector2d at = seen(edges.up_m);
  const Eigen::Vector2d along = (seen(edges.up_m + kStep_m) - at).normalized();
  const Eigen::Vector2d off = 0.5 * (edges.left_px + edges.right_px) - at;
  return along.x() * off.y() - along.y() * off.x();
}

}  // namespace

LimbFit fit_limb(const std::vector<Edges>& edges, const Place& place, const LimbShape& start,
                 const LimbOptions& options) {
  const ShapeVector mean{{0.0, 0.0, 0.0, options.back_m, 0.0}};
  const ShapeVector weight{
      {0.0, std::pow(options.across_sigma_m, -2), std::pow(options.lean_sigma_rad, -2),
       std::pow(options.back_sigma_m, -2), std::pow(options.side_sigma_m, -2)}};
  ShapeVector v{{start.cant_rad, start.across_m, 0.0, options.back_m, 0.0}};
  const auto n = static_cast<Eigen::Index>(edges.size());
  Eigen::VectorXd off(n);
  Eigen::MatrixXd slope(n, kShape);
  LimbFit fit;
  ShapeMatrix covariance = ShapeMatrix::Identity();
  constexpr int kRounds = 8;
  for (int round = 0; round < kRounds; ++round) {
    for (Eigen::Index i = 0; i < n; ++i) {
      const Edges& edge = edges[static_cast<std::size_t>(i)];
      off[i] = aside_px(edge, place, shape_of(v), options.half_length_m);
      for (int k = 0; k < kShape; ++k) {
        ShapeVector moved = v;
        constexpr double kStep = 1e-4;
        moved[k] += kStep;
        slope(i, k) =
            (aside_px(edge, place, shape_of(moved), options.half_length_m) - off[i]) / kStep;
      }
    }
    std::vector<double> sizes(edges.size());
    for (Eigen::Index i = 0; i < n; ++i) {
      sizes[static_cast<std::size_t>(i)] = std::abs(off[i]);
    }
    constexpr double kMadToSigma = 1.4826;
    const double sigma = std::max(kMadToSigma * upper_median(sizes), options.least_residual_px);
    ShapeMatrix normal = weight.asDiagonal();
    ShapeVector gradient = weight.cwiseProduct(mean - v);
    for (Eigen::Index i = 0; i < n; ++i) {
      constexpr double kTukey = 4.685;
      const double t = off[i] / (kTukey * sigma);
      const double w = std::abs(t) < 1.0 ? std::pow(1.0 - t * t, 2) / (sigma * sigma) : 0.0;
      normal += w * slope.row(i).transpose() * slope.row(i);
      gradient -= w * slope.row(i).transpose() * off[i];
    }
    const Eigen::LDLT<ShapeMatrix> solver(normal);
    v += solver.solve(gradient);
    covariance = solver.solve(ShapeMatrix::Identity());
    fit.residual_px = sigma;
  }
  fit.shape = shape_of(v);
  const double seen_part = covariance(0, 0);
  fit.cant_sigma_rad = std::sqrt(std::max(options.alike * seen_part, 0.0));
  return fit;
}

}  // namespace nocktrail::bow
