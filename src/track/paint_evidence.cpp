#include "paint_evidence.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace nocktrail::track {
namespace {

// Paint varies along the shaft with this length, share.
constexpr double kPaintLength = 0.04;

}  // namespace

PaintSums::PaintSums(int from, int n)
    : first(from),
      kk(Eigen::MatrixXd::Zero(n, n)),
      dkk(kk),
      ddkk(kk),
      ky(Eigen::VectorXd::Zero(n)),
      kdy(ky) {}

void PaintSums::add(const Cover& cover, double y, double d, double weight) {
  const int from = std::max(cover.at, first);
  const int to =
      std::min(cover.at + static_cast<int>(cover.k.size()), first + static_cast<int>(ky.size()));
  for (int i = from; i < to; ++i) {
    const double w = weight * cover.k[static_cast<std::size_t>(i - cover.at)];
    ky[i - first] += w * y;
    kdy[i - first] += w * d * y;
    for (int j = from; j <= i; ++j) {
      const double v = w * cover.k[static_cast<std::size_t>(j - cover.at)];
      kk(i - first, j - first) += v;
      dkk(i - first, j - first) += d * v;
      ddkk(i - first, j - first) += d * d * v;
    }
  }
  yy += weight * y * y;
}

void PaintSums::add(const PaintSums& other) {
  kk += other.kk;
  dkk += other.dkk;
  ddkk += other.ddkk;
  ky += other.ky;
  kdy += other.kdy;
  yy += other.yy;
}

void PaintSums::complete() {
  for (Eigen::MatrixXd* m : {&kk, &dkk, &ddkk}) {
    *m = m->selfadjointView<Eigen::Lower>().toDenseMatrix();
  }
}

PaintEvidence evidence_of(const PaintSums& sums, int from, const std::vector<PaintPiece>& pieces) {
  int n = 0;
  for (const PaintPiece& piece : pieces) {
    n += piece.bins;
  }
  const auto m = static_cast<int>(pieces.size());
  const int at = from - sums.first;
  const auto kk = sums.kk.block(at, at, n, n);
  const Eigen::VectorXd b = sums.ky.segment(at, n) - sums.dkk.block(at, at, n, n).rowwise().sum();
  const double rr =
      sums.yy - 2.0 * sums.kdy.segment(at, n).sum() + sums.ddkk.block(at, at, n, n).sum();
  // Unknown are the bins' variation and, one for each piece and in units of its sigma, the levels.
  Eigen::MatrixXd levels = Eigen::MatrixXd::Zero(n, m);
  Eigen::MatrixXd precision = Eigen::MatrixXd::Identity(n + m, n + m);
  precision.topLeftCorner(n, n) = kk;
  double log_determinant = 0.0;  // of I + covariance x kk
  // Precision of the exponential covariance, x_i = rho x_(i-1) + fresh noise: tridiagonal.
  const double rho = std::exp(-kShareStep / kPaintLength);
  int first = 0;
  for (int p = 0; p < m; ++p) {
    const PaintPiece& piece = pieces[static_cast<std::size_t>(p)];
    const int last = first + piece.bins - 1;
    levels.col(p).segment(first, piece.bins).setConstant(piece.level);
    const double fresh = piece.tau * piece.tau * (1.0 - rho * rho);
    for (int i = first; i <= last; ++i) {
      precision(i, i) += (1.0 + rho * rho) / fresh;
    }
    precision(first, first) -= rho * rho / fresh;
    precision(last, last) -= rho * rho / fresh;
    for (int i = first + 1; i <= last; ++i) {
      precision(i, i - 1) -= rho / fresh;
      precision(i - 1, i) -= rho / fresh;
    }
    log_determinant += 2.0 * std::log(piece.tau) + (piece.bins - 1) * std::log(fresh);
    first = last + 1;
  }
  const Eigen::MatrixXd by_level = kk * levels;
  precision.topRightCorner(n, m) = by_level;
  precision.bottomLeftCorner(m, n) = by_level.transpose();
  precision.bottomRightCorner(m, m) += levels.transpose() * by_level;
  Eigen::VectorXd right_hand(n + m);
  right_hand << b, levels.transpose() * b;
  const Eigen::LLT<Eigen::MatrixXd> cholesky(precision);
  log_determinant += 2.0 * cholesky.matrixLLT().diagonal().array().log().sum();
  const Eigen::VectorXd solution = cholesky.solve(right_hand);
  PaintEvidence evidence;
  evidence.paint = solution.head(n) + levels * solution.tail(m);
  evidence.log_value = -0.5 * (rr - right_hand.dot(solution)) - 0.5 * log_determinant;
  return evidence;
}

double either(double log_value, double other_log_value) {
  const double more = std::max(log_value, other_log_value);
  return more + std::log1p(std::exp(-std::abs(log_value - other_log_value))) - std::log(2.0);
}

}  // namespace nocktrail::track
