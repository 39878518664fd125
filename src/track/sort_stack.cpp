#include "sort_stack.hpp"

namespace nocktrail::track {

// Odd-even transposition: every step is a whole-picture minimum and maximum, which OpenCV
// vectorises.
void sort_stack(std::vector<cv::Mat>& stack) {
  const std::size_t n = stack.size();
  cv::Mat low;
  for (std::size_t pass = 0; pass < n; ++pass) {
    for (std::size_t i = pass % 2; i + 1 < n; i += 2) {
      cv::min(stack[i], stack[i + 1], low);
      cv::max(stack[i], stack[i + 1], stack[i + 1]);
      low.copyTo(stack[i]);
    }
  }
}

}  // namespace nocktrail::track
