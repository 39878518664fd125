// Pictures as a film that phones play: H.264 (ITU-T H.264, 4:2:0, eight bits, BT.709 limited range)
// in an MP4 file whose index stands before its pictures, so that it plays while it still comes in.
#pragma once

#include <memory>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>

namespace nocktrail::media {

// What films of ours carry as their comment, so that they are told from anybody's clips.
inline constexpr std::string_view kFilmMark = "nocktrail replay";

// Made in memory: a film is a few seconds, and is written whole or not at all.
class Film {
 public:
  // Both sizes even. Throws BadInput where this computer's libavcodec cannot write H.264.
  Film(int width_px, int height_px, int frames_per_second);
  Film(Film&&) noexcept;
  ~Film();

  // One more frame, CV_8UC3, BGR, of that size. Throws std::invalid_argument for another picture
  // and std::runtime_error where it cannot be encoded, or the film grows beyond 256 MB.
  void add(const cv::Mat& bgr);

  // The whole file; nothing can be added any more.
  std::string finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// Whether the bytes of a file are a film of ours. Whatever they are, nothing is thrown.
bool is_own_film(std::string_view bytes);

}  // namespace nocktrail::media
