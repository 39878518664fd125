// Where a person saw the ends of the arrow, in the frames of one shot: plain data, schema
// nocktrail.marks/1 of docs/measurement.md. Pixels are those of the frame itself, in display
// orientation, integer coordinates at pixel centres.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

namespace nocktrail {

struct FrameMark {
  long index = 0;  // presented frame, from 0
  std::optional<Eigen::Vector2d> nock_px;
  std::optional<Eigen::Vector2d> tip_px;
};

struct Marks {
  std::string clip_sha256;         // of the clip they were made in; empty: not said
  std::vector<FrameMark> frames;   // each index once, ascending
  std::optional<long> exit_index;  // frame in which the nock leaves the string
  bool counts = false;             // in its session: only if the archer says so
};

}  // namespace nocktrail
