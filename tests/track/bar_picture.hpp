// Draws an ideal bar: what a straight, evenly lit shaft looks like through a lens.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <opencv2/core.hpp>

namespace nocktrail::test {

using Random = boost::random::mt19937_64;

// Convolution of a box of this width with a Gaussian of sigma `blur_px`, at distance d from its
// middle.
inline double box_through_blur(double d, double width_px, double blur_px) {
  const double s = blur_px * std::sqrt(2.0);
  return 0.5 * (std::erf((d + width_px / 2) / s) - std::erf((d - width_px / 2) / s));
}

// Adds a bar from `nock` to `tip`, `contrast` grey levels, to a CV_32F picture. The profile is that
// of the middle of each pixel: for a blur of 0.9 px and more, averaging over the pixel's area only
// widens it by 1/24 px^2 (sigma^2 + 1/12).
inline void add_bar(cv::Mat& picture, const Eigen::Vector2d& nock, const Eigen::Vector2d& tip,
                    double width_px, double contrast, double blur_px) {
  const double length = (tip - nock).norm();
  const Eigen::Vector2d along = (tip - nock) / length;
  const Eigen::Vector2d across(-along.y(), along.x());
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      const Eigen::Vector2d p = Eigen::Vector2d(x, y) - nock;
      const double a = p.dot(along) - length / 2;
      const double b = p.dot(across);
      if (std::abs(a) > length / 2 + 5 * blur_px || std::abs(b) > width_px / 2 + 5 * blur_px) {
        continue;
      }
      picture.at<float>(y, x) += static_cast<float>(
          contrast * box_through_blur(a, length, blur_px) * box_through_blur(b, width_px, blur_px));
    }
  }
}

inline void add_noise(cv::Mat& picture, double sigma, Random& random) {
  boost::random::normal_distribution<double> noise(0.0, sigma);
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      picture.at<float>(y, x) += static_cast<float>(noise(random));
    }
  }
}

}  // namespace nocktrail::test
