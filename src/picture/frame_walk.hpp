// The frames of a clip in colour, one after another, one in memory at a time.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::picture {

class FrameWalk {
 public:
  // `capture_fps`: as it was read. Throws UnreadableClip.
  FrameWalk(const std::filesystem::path& path, double capture_fps);

  // Capture time of each presented frame.
  const std::vector<double>& t_s() const { return t_s_; }

  // CV_8UC3, BGR; empty where it cannot be had. The same one again costs nothing; one that lies
  // behind is sought.
  const cv::Mat& at(long index);

 private:
  media::Clip clip_;
  std::vector<double> t_s_;
  long next_ = -1;
  long here_ = -1;
  cv::Mat picture_;
};

}  // namespace nocktrail::picture
