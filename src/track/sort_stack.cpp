#include "sort_stack.hpp"

namespace nocktrail::track {

// Batcher's merge exchange (Knuth, The Art of Computer Programming, vol. 3, 5.2.2, algorithm M):
// every step is a whole-picture minimum and maximum, which OpenCV vectorises.
void sort_stack(std::vector<cv::Mat>& stack) {
  const std::size_t n = stack.size();
  if (n < 2) {
    return;
  }
  std::size_t top = 1;
  while (2 * top < n) {
    top *= 2;
  }
  cv::Mat low;
  for (std::size_t p = top; p > 0; p /= 2) {
    std::size_t q = top;
    std::size_t r = 0;
    for (std::size_t d = p;; d = q - p, q /= 2, r = p) {
      for (std::size_t i = 0; i + d < n; ++i) {
        if ((i & p) == r) {
          cv::min(stack[i], stack[i + d], low);
          cv::max(stack[i], stack[i + d], stack[i + d]);
          cv::swap(stack[i], low);
        }
      }
      if (q == p) {
        break;
      }
    }
  }
}

}  // namespace nocktrail::track
