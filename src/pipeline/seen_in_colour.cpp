#include "seen_in_colour.hpp"

#include <opencv2/imgproc.hpp>

#include "nocktrail/track/sweep.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr int kFrames = 11;  // whose median is taken

cv::Matx33d matrix_of(const Eigen::Matrix3d& m) {
  return {m(0, 0), m(0, 1), m(0, 2), m(1, 0), m(1, 1), m(1, 2), m(2, 0), m(2, 1), m(2, 2)};
}

}  // namespace

void changes_in_colour(Stretch& stretch, const steady::Steadied& steadied, cv::Mat& still) {
  // Of what is filmed, warmth differs by a third of what brightness does, and is as little noisy.
  constexpr double kWarmth = 1.5;
  // A pixel of the half picture is the middle of four of the whole one.
  const cv::Matx33d whole_from_half(2.0, 0.0, 0.5, 0.0, 2.0, 0.5, 0.0, 0.0, 1.0);
  for (std::size_t k = 0; k < stretch.warmth.size(); ++k) {
    cv::Mat steady;
    cv::warpPerspective(stretch.warmth[k], steady,
                        whole_from_half.inv() * matrix_of(steadied.motion[k].reference_from_frame) *
                            whole_from_half,
                        stretch.warmth[k].size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    stretch.warmth[k] = steady;
  }
  still = track::median_picture(stretch.luma, kFrames);
  const cv::Mat usual =
      stretch.warmth.empty() ? cv::Mat() : track::median_picture(stretch.warmth, kFrames);
  for (std::size_t k = 0; k < stretch.luma.size(); ++k) {
    cv::Mat changed;
    cv::absdiff(stretch.luma[k], still, changed);
    if (k < stretch.warmth.size()) {
      cv::Mat half;
      cv::absdiff(stretch.warmth[k], usual, half);
      cv::Mat warmth;
      cv::resize(half, warmth, changed.size(), 0.0, 0.0, cv::INTER_LINEAR);
      cv::addWeighted(changed, 1.0, warmth, kWarmth, 0.0, changed, CV_8U);
    }
    stretch.luma[k] = changed;
  }
  stretch.warmth.clear();
}

}  // namespace nocktrail::pipeline
