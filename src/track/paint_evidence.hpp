// The paint of an arrow as a Gaussian process along its shaft, in bins of equal share, and how well
// it explains the pixels (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, eq.
// 2.30). Private to the tracker.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace nocktrail::track {

// Of the length, one bin.
inline constexpr double kShareStep = 0.008;

// Shares of a pixel that bins of the arrow cover, from bin `at` on.
struct Cover {
  int at = 0;
  std::vector<double> k;
};

// Normal equations of the paint in bins [first, first + n). A pixel is y = sum_b k_b (g_b -
// background) over the bins b of the arrow; with g = m0 + x and d = m0 - background the residual
// y - d sum k - sum k x is quadratic in these sums, whichever bins belong to the arrow.
struct PaintSums {
  int first;
  Eigen::MatrixXd kk, dkk, ddkk;
  Eigen::VectorXd ky, kdy;
  double yy = 0.0;

  PaintSums(int from, int n);
  void add(const Cover& cover, double y, double d, double weight);
  void add(const PaintSums& other);
  // Only lower triangles are filled while pixels are added.
  void complete();
};

// A piece of the arrow, so many bins long: a grey of its own that lies within `level` of m0, and
// paint that varies about it by `tau`, both 1 sigma.
struct PaintPiece {
  int bins = 0;
  double level = 0.0;
  double tau = 1.0;
};

struct PaintEvidence {
  double log_value = 0.0;
  Eigen::VectorXd paint;  // x of each bin of the arrow
};

// If the arrow is made of these pieces, the first from bin `from` on.
PaintEvidence evidence_of(const PaintSums& sums, int from, const std::vector<PaintPiece>& pieces);

// Of two that are equally likely beforehand.
double either(double log_value, double other_log_value);

}  // namespace nocktrail::track
