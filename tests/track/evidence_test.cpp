// How well an arrow's paint explains pixels, by normal equations, against the density of the pixels
// themselves: log N(y; mean, A C A' + noise), with the covariance of the paint written out in full
// (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.30).
#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <numbers>
#include <vector>

#include "paint_evidence.hpp"

using namespace nocktrail;

namespace {

constexpr int kFirst = 20;  // bin at which the sums begin
constexpr int kBins = 24;

struct Pixel {
  track::Cover cover;
  double y;
  double d;
  double weight;
};

std::vector<Pixel> some_pixels() {
  boost::random::mt19937 random(5);
  boost::random::uniform_real_distribution<double> uniform(0.0, 1.0);
  std::vector<Pixel> pixels;
  for (int i = 0; i < 40; ++i) {
    Pixel pixel{{kFirst - 3 + static_cast<int>(28 * uniform(random)), {}}, 0.0, 0.0, 0.0};
    for (int k = 0; k < 5; ++k) {
      pixel.cover.k.push_back(uniform(random));
    }
    pixel.y = 30.0 * uniform(random) - 15.0;
    pixel.d = 20.0 * uniform(random) - 5.0;
    pixel.weight = 0.2 + uniform(random);
    pixels.push_back(pixel);
  }
  return pixels;
}

// Of an arrow whose first bin is `from`, by the density of the pixels. `paint`: the posterior mean.
double log_density(const std::vector<Pixel>& pixels, int from,
                   const std::vector<track::PaintPiece>& pieces, Eigen::VectorXd& paint) {
  constexpr double kPaintLength = 0.04;  // share of the length over which paint varies
  int n = 0;
  for (const auto& piece : pieces) {
    n += piece.bins;
  }
  Eigen::MatrixXd prior = Eigen::MatrixXd::Zero(n, n);
  int first = 0;
  for (const auto& piece : pieces) {
    for (int i = first; i < first + piece.bins; ++i) {
      for (int j = first; j < first + piece.bins; ++j) {
        prior(i, j) =
            piece.level * piece.level +
            piece.tau * piece.tau * std::exp(-std::abs(i - j) * track::kShareStep / kPaintLength);
      }
    }
    first += piece.bins;
  }
  const auto m = static_cast<Eigen::Index>(pixels.size());
  Eigen::MatrixXd covers = Eigen::MatrixXd::Zero(m, n);
  Eigen::VectorXd off(m);
  Eigen::VectorXd noise(m);
  for (Eigen::Index p = 0; p < m; ++p) {
    const Pixel& pixel = pixels[static_cast<std::size_t>(p)];
    for (std::size_t k = 0; k < pixel.cover.k.size(); ++k) {
      const int bin = pixel.cover.at + static_cast<int>(k) - from;
      if (bin >= 0 && bin < n) {
        covers(p, bin) = pixel.cover.k[k];
      }
    }
    off[p] = pixel.y - pixel.d * covers.row(p).sum();
    noise[p] = 1.0 / pixel.weight;
  }
  const Eigen::MatrixXd noise_matrix = noise.asDiagonal();
  const Eigen::MatrixXd covariance = covers * prior * covers.transpose() + noise_matrix;
  const Eigen::LLT<Eigen::MatrixXd> cholesky(covariance);
  paint = prior * covers.transpose() * cholesky.solve(off);
  return -0.5 * off.dot(cholesky.solve(off)) - cholesky.matrixLLT().diagonal().array().log().sum() -
         0.5 * static_cast<double>(m) * std::log(2.0 * std::numbers::pi);
}

}  // namespace

TEST_CASE("truth: the evidence for a paint is the density of the pixels") {
  const std::vector<Pixel> pixels = some_pixels();
  track::PaintSums sums(kFirst, kBins);
  track::PaintSums rest(kFirst, kBins);
  double of_noise = 0.0;  // what is the same for all arrows and left out
  for (std::size_t p = 0; p < pixels.size(); ++p) {
    const Pixel& pixel = pixels[p];
    (p % 2 == 0 ? sums : rest).add(pixel.cover, pixel.y, pixel.d, pixel.weight);
    of_noise -= 0.5 * std::log(2.0 * std::numbers::pi / pixel.weight);
  }
  sums.add(rest);
  sums.complete();
  const std::vector<std::vector<track::PaintPiece>> arrows{
      {{24, 0.0, 12.0}}, {{16, 9.0, 1.5}, {4, 14.0, 2.0}}, {{1, 0.0, 6.0}, {9, 3.0, 0.5}}};
  for (const auto& pieces : arrows) {
    for (const int from : {20, 22}) {
      int n = 0;
      for (const auto& piece : pieces) {
        n += piece.bins;
      }
      if (from + n > kFirst + kBins) {
        continue;
      }
      CAPTURE(n);
      CAPTURE(from);
      const track::PaintEvidence evidence = track::evidence_of(sums, from, pieces);
      Eigen::VectorXd paint;
      const double density = log_density(pixels, from, pieces, paint);
      CHECK(evidence.log_value == doctest::Approx(density - of_noise).epsilon(1e-9));
      REQUIRE(evidence.paint.size() == paint.size());
      CHECK((evidence.paint - paint).norm() < 1e-8 * (1.0 + paint.norm()));
    }
  }
}

TEST_CASE("truth: either of two is as likely as their mean") {
  CHECK(track::either(std::log(0.2), std::log(0.4)) == doctest::Approx(std::log(0.3)));
  CHECK(track::either(-2000.0, -3000.0) == doctest::Approx(-2000.0 - std::log(2.0)));
}
