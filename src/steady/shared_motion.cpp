#include "shared_motion.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdint>

#include "nocktrail/median.hpp"

namespace nocktrail::steady {
namespace {

using Vector8 = Eigen::Matrix<double, 8, 1>;
using Matrix8 = Eigen::Matrix<double, 8, 8>;

// Homography to_from with h33 = 1 in centred, focal-normalised coordinates.
Eigen::Matrix3d matrix_of(const Vector8& h) {
  Eigen::Matrix3d m;
  m << h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), 1.0;
  return m;
}

// The turn and shift that most corners share, by trying pairs of corners (RANSAC, Fischler & Bolles
// 1981). A median would settle between background and archer where both hold many corners; this
// takes the larger of the two. The pairs tried are fixed, so that the result does not depend on
// chance.
Eigen::Matrix3d most_shared_motion(const std::vector<Correspondence>& pairs,
                                   const std::vector<double>& trust, const Eigen::Matrix3d& start,
                                   double tolerance) {
  const auto votes_of = [&](const Eigen::Matrix3d& m) {
    double votes = 0.0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double d = ((m * pairs[i].from.homogeneous()).hnormalized() - pairs[i].to).norm();
      votes += d < tolerance ? trust[i] * (1.0 - d / tolerance) : 0.0;
    }
    return votes;
  };
  Eigen::Matrix3d best = start;
  double best_votes = votes_of(start);
  std::uint32_t state = 1;
  const auto draw = [&] {
    state = state * 1664525U + 1013904223U;  // Numerical Recipes' linear congruential generator
    return static_cast<std::size_t>(state >> 8U) % pairs.size();
  };
  for (int n = 0; n < 160 && pairs.size() >= 8; ++n) {
    const Correspondence& a = pairs[draw()];
    const Correspondence& b = pairs[draw()];
    const Eigen::Vector2d before = b.from - a.from;
    const Eigen::Vector2d after = b.to - a.to;
    if (before.norm() < 0.1 || std::abs(after.norm() / before.norm() - 1.0) > 0.02) {
      continue;
    }
    const double turn =
        std::atan2(before.x() * after.y() - before.y() * after.x(), before.dot(after));
    const double c = std::cos(turn);
    const double s = std::sin(turn);
    Eigen::Matrix2d rotation;
    rotation << c, -s, s, c;
    const Eigen::Vector2d shift = 0.5 * (a.to + b.to) - rotation * (0.5 * (a.from + b.from));
    Eigen::Matrix3d m;
    // The perspective terms that go with such a shift when a camera turns.
    m << c, -s, shift.x(), s, c, shift.y(), -shift.x(), -shift.y(), 1.0;
    if (const double votes = votes_of(m); votes > best_votes) {
      best_votes = votes;
      best = m;
    }
  }
  return best;
}

double distance_of(const Eigen::Matrix3d& to_from, const Correspondence& pair) {
  return ((to_from * pair.from.homogeneous()).hnormalized() - pair.to).norm();
}

// Of the trusted corners, from the nearer half of what is near: Rayleigh's median is 1.1774 sigma.
// It never grows from what the shared motion was found with, but shrinks no further than to what
// the corners scatter by: in a dim picture that is some tenths of a pixel.
double scale_after(double scale, const std::vector<double>& distance,
                   const std::vector<double>& trust, double floor_sigma) {
  std::vector<double> near;
  for (std::size_t i = 0; i < distance.size(); ++i) {
    if (trust[i] > 0.0 && distance[i] <= 4.0 * scale) {
      near.push_back(distance[i]);
    }
  }
  return std::clamp(upper_median(near) / 1.1774, floor_sigma, std::max(scale, floor_sigma));
}

struct NormalEquations {
  Matrix8 matrix = Matrix8::Zero();
  Vector8 right = Vector8::Zero();

  void add(const Correspondence& pair, double weight) {
    const double x = pair.from.x();
    const double y = pair.from.y();
    const double u = pair.to.x();
    const double v = pair.to.y();
    Eigen::Matrix<double, 2, 8> rows;
    rows << x, y, 1, 0, 0, 0, -x * u, -y * u,  //
        0, 0, 0, x, y, 1, -x * v, -y * v;
    matrix += weight * rows.transpose() * rows;
    right += weight * rows.transpose() * pair.to;
  }

  // In units of the corners' scatter: stretch and shear within 0.4 %, perspective tied to the shift
  // as in a rotation (h31 = -h13, h32 = -h23 for small angles) within 20 %.
  void add_priors(double corner_sigma, double shift) {
    using Row = Eigen::Matrix<double, 1, 8>;
    const auto prior = [&](const Row& row, double value, double sigma) {
      const double weight = corner_sigma * corner_sigma / (sigma * sigma);
      matrix += weight * row.transpose() * row;
      right += weight * row.transpose() * value;
    };
    Row row;
    row << 1, 0, 0, 0, -1, 0, 0, 0;
    prior(row, 0.0, 0.004);
    row << 1, 0, 0, 0, 1, 0, 0, 0;
    prior(row, 2.0, 0.008);
    row << 0, 1, 0, 1, 0, 0, 0, 0;
    prior(row, 0.0, 0.004);
    const double perspective_sigma = 0.2 * shift + 5e-4;
    row << 0, 0, 1, 0, 0, 0, 1, 0;
    prior(row, 0.0, perspective_sigma);
    row << 0, 0, 0, 0, 0, 1, 0, 1;
    prior(row, 0.0, perspective_sigma);
  }
};

}  // namespace

RobustFit fit_motion(const std::vector<Correspondence>& pairs, const std::vector<double>& trust,
                     const Eigen::Matrix3d& start, double focal_px) {
  RobustFit fit;
  fit.to_from = most_shared_motion(pairs, trust, start, 1.2 / focal_px);
  const double floor_sigma = 0.05 / focal_px;
  double scale = 0.6 / focal_px;
  std::vector<double> distance(pairs.size());
  constexpr int kRounds = 12;
  for (int round = 0; round < kRounds; ++round) {
    std::transform(pairs.begin(), pairs.end(), distance.begin(),
                   [&](const Correspondence& pair) { return distance_of(fit.to_from, pair); });
    if (round > 0) {
      scale = scale_after(scale, distance, trust, floor_sigma);
    }
    NormalEquations normal;
    fit.agreeing = 0;
    double squares = 0.0;
    double weight_sum = 0.0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double ratio = distance[i] / (4.0 * scale);
      const double tukey = ratio < 1.0 ? (1.0 - ratio * ratio) * (1.0 - ratio * ratio) : 0.0;
      const double weight = trust[i] * tukey;
      if (weight <= 0.0) {
        continue;
      }
      fit.agreeing += ratio < 0.75 ? 1 : 0;
      squares += weight * distance[i] * distance[i] / 2.0;
      weight_sum += weight;
      normal.add(pairs[i], weight);
    }
    fit.sigma = weight_sum > 0.0 ? std::sqrt(squares / weight_sum) : scale;
    const double sigma = std::max(fit.sigma, floor_sigma);
    normal.add_priors(sigma, std::hypot(fit.to_from(0, 2), fit.to_from(1, 2)));
    const Eigen::LDLT<Matrix8> solver(normal.matrix);
    fit.to_from = matrix_of(solver.solve(normal.right));
    const Matrix8 covariance = sigma * sigma * solver.solve(Matrix8::Identity());
    fit.centre_sigma = std::sqrt(std::max(covariance(2, 2), covariance(5, 5)));
  }
  return fit;
}

}  // namespace nocktrail::steady
