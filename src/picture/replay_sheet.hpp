// One picture of a replay: words, the frames laid over one another, the lines on them.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "photo.hpp"
#include "replay_frames.hpp"

namespace nocktrail::picture {

// One shot's part of one picture.
struct ReplayLayer {
  ReplayFrames* frames = nullptr;
  std::optional<long> index;  // empty: it has no frame at this time
  // Puts the shot's reference frame onto the first shot's.
  Eigen::Matrix3d first_from_reference = Eigen::Matrix3d::Identity();
};

class ReplaySheet {
 public:
  // `layers`: one or two, as for draw().
  ReplaySheet(const std::vector<ReplayLayer>& layers, const ReplayOptions& options);

  // CV_8UC3, BGR, of the same even size for every picture.
  cv::Mat draw(const std::vector<ReplayLayer>& layers);

 private:
  double draw_head(Canvas& canvas, const std::vector<ReplayLayer>& layers) const;
  void draw_photo(Canvas& canvas, const std::vector<ReplayLayer>& layers) const;
  double draw_words(Canvas& canvas, const std::vector<ReplayLayer>& layers) const;
  cv::Mat laid_over(const std::vector<ReplayLayer>& layers) const;

  ReplayOptions options_;
  Box photo_;
  View view_;
  int height_px_ = 0;
};

}  // namespace nocktrail::picture
