#include "frame_walk.hpp"

#include "nocktrail/error.hpp"
#include "nocktrail/picture/frames.hpp"

namespace nocktrail::picture {
namespace {

// A gap longer than this is cheaper to seek over than to decode through.
constexpr long kSeekGap = 60;

}  // namespace

FrameWalk::FrameWalk(const std::filesystem::path& path, double capture_fps)
    : clip_(media::Clip::open(path)), t_s_(clip_.info().frame_t_s) {
  // Play time is the file's own; how fast it was filmed, the reading's.
  if (capture_fps > 0.0 && clip_.info().capture_fps > 0.0) {
    for (double& t : t_s_) {
      t *= clip_.info().capture_fps / capture_fps;
    }
  }
}

const cv::Mat& FrameWalk::at(long index) {
  if (index == here_) {
    return picture_;
  }
  if (next_ < 0 || index < next_ || index - next_ > kSeekGap) {
    clip_.seek(index, {.chroma = true, .shrink = 1, .fast = false});
  }
  here_ = index;
  picture_.release();
  media::Frame frame;
  do {
    if (!clip_.next(frame)) {
      next_ = -1;
      return picture_;
    }
  } while (frame.index < index);
  next_ = frame.index + 1;
  if (frame.index == index) {
    picture_ = bgr_from_frame(frame);
  }
  return picture_;
}

}  // namespace nocktrail::picture
