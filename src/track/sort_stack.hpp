// Private to the tracker: order statistics of a stack of pictures.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace nocktrail::track {

// Sorts the stack pixel by pixel, smallest first.
void sort_stack(std::vector<cv::Mat>& stack);

}  // namespace nocktrail::track
