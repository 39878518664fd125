// Frames of a clip around one candidate loose. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace nocktrail::pipeline {

struct Stretch {
  std::vector<cv::Mat> luma;    // CV_8UC1
  std::vector<cv::Mat> warmth;  // V - U, CV_8UC1, 128 = none, half size each way; as many as luma,
                                // or empty where the clip has no colour
  std::vector<long> index;      // presented, ascending
  std::vector<double> t_s;      // capture times
  bool steadied = false;        // luma is laid on the reference frame
};

}  // namespace nocktrail::pipeline
