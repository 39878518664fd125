// Where a person saw the ends of the arrow, in the frames of one shot: plain data, schema
// nocktrail.marks/1 of docs/measurement.md. Pixels are those of the frame itself, in display
// orientation, integer coordinates at pixel centres.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace nocktrail {

struct FrameMark {
  long index = 0;  // presented frame, from 0
  std::optional<Eigen::Vector2d> nock_px;
  std::optional<Eigen::Vector2d> tip_px;
};

// The middle of the upper limb, anywhere along it, in one frame about the exit.
struct LimbMark {
  long index = 0;
  std::vector<Eigen::Vector2d> points_px;  // kLeastLimbPoints and more, in any order
};

struct Marks {
  std::string clip_sha256;         // of the clip they were made in; empty: not said
  std::vector<FrameMark> frames;   // each index once, ascending
  std::optional<long> exit_index;  // frame in which the nock leaves the string
  std::optional<LimbMark> limb;    // where the cant is neither told nor found
  bool counts = false;             // in its session: only if the archer says so
};

inline constexpr std::size_t kFramesForFlight = 4;   // with both ends marked: what flight they make
inline constexpr std::size_t kFramesForReading = 6;  // and for a number
inline constexpr std::size_t kMostMarkedFrames = 64;  // no flight is longer in the picture
inline constexpr std::size_t kLeastLimbPoints = 2;
inline constexpr std::size_t kMostLimbPoints = 12;

// In so many frames both ends are marked.
inline std::size_t frames_with_both(const Marks& marks) {
  return static_cast<std::size_t>(
      std::count_if(marks.frames.begin(), marks.frames.end(),
                    [](const FrameMark& m) { return m.nock_px && m.tip_px; }));
}

}  // namespace nocktrail
