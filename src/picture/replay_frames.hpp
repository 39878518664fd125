// Which frames of a shot a replay shows, and how each lies over the shot's reference frame.
#pragma once

#include <Eigen/Core>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "frame_walk.hpp"
#include "nocktrail/picture/replay.hpp"
#include "strobe.hpp"

namespace nocktrail::picture {

// One shot on its way into a replay.
class ReplayFrames {
 public:
  // Throws BadInput for a shot that cannot be shown, UnreadableClip for its clip.
  ReplayFrames(const ReplayShot& shot, const ReplayOptions& options);

  const Shot& shot() const { return shot_; }
  const Reading& reading() const { return reading_; }
  const std::vector<std::string>& stops() const { return stops_; }
  // Name and number, printable: "evening-03.mp4, shot 2 of 2".
  const std::string& name() const { return name_; }
  const std::vector<Instant>& instants() const { return instants_; }

  // Frames to be shown, in order.
  const std::vector<long>& shown() const { return shown_; }
  double t_s(long index) const { return walk_.t_s()[static_cast<std::size_t>(index)]; }
  // The frame nearest in time, of those from the first to the last shown; empty where none is
  // within one frame's time.
  std::optional<long> nearest(double t_s) const;

  const cv::Mat& picture(long index) { return walk_.at(index); }
  // The camera's motion taken out. For frames before the fitted ones it is estimated by steady/
  // from the frames themselves, when it is asked for first; where that finds nothing sure, the
  // nearest known one stands in.
  Eigen::Matrix3d reference_from_frame(long index);
  // The fitted flight in that frame; null where there is none.
  const Instant* fitted(long index) const;

 private:
  void estimate_before();

  const Shot& shot_;
  const Reading& reading_;
  const std::vector<std::string>& stops_;
  std::string name_;
  std::vector<Instant> instants_;
  FrameWalk walk_;
  long first_ = 0;
  long last_ = 0;
  std::vector<long> shown_;
  bool estimated_ = false;
  std::map<long, Eigen::Matrix3d> before_;
};

}  // namespace nocktrail::picture
