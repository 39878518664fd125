#include "seen_in_colour.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

namespace nocktrail::pipeline {
namespace {

constexpr std::size_t kFrames = 11;  // whose median is taken, drawn evenly

template <typename Value>
cv::Mat median_of(const std::vector<cv::Mat>& frames) {
  const std::size_t count = std::min(kFrames, frames.size());
  cv::Mat median(frames.front().size(), frames.front().type());
  cv::parallel_for_(cv::Range(0, median.rows), [&](const cv::Range& rows) {
    std::array<Value, kFrames> values{};
    std::array<const Value*, kFrames> in{};
    for (int y = rows.start; y < rows.end; ++y) {
      for (std::size_t i = 0; i < count; ++i) {
        in[i] = frames[count > 1 ? i * (frames.size() - 1) / (count - 1) : 0].ptr<Value>(y);
      }
      Value* out = median.ptr<Value>(y);
      for (int x = 0; x < median.cols; ++x) {
        for (std::size_t i = 0; i < count; ++i) {
          values[i] = in[i][x];
        }
        const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
        std::nth_element(values.begin(), middle,
                         values.begin() + static_cast<std::ptrdiff_t>(count));
        out[x] = *middle;
      }
    }
  });
  return median;
}

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
  still = median_of<std::uint8_t>(stretch.luma);
  const cv::Mat usual =
      stretch.warmth.empty() ? cv::Mat() : median_of<std::int16_t>(stretch.warmth);
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
