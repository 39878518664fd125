// Private to the room.
#pragma once

#include <algorithm>
#include <opencv2/core.hpp>
#include <vector>

namespace nocktrail::side {

// CV_32F, bilinear between the rows of one column.
inline double at_row(const cv::Mat& picture, int column, double row) {
  const double inside = std::clamp(row, 0.0, picture.rows - 1.001);
  const int y = static_cast<int>(inside);
  const double f = inside - y;
  return (1.0 - f) * static_cast<double>(picture.at<float>(y, column)) +
         f * static_cast<double>(picture.at<float>(y + 1, column));
}

}  // namespace nocktrail::side
