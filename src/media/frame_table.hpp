// Which frames a track presents, and when: from its packets alone, nothing is decoded.
#pragma once

#include <cstdint>
#include <vector>

#include "libav.hpp"

namespace nocktrail::media {

struct FrameTable {
  struct Key {
    std::int64_t pts = 0;
    std::int64_t dts = 0;
  };

  // Presentation time stamps, ascending, in the track's time base. Packets that the edit list cuts
  // away (libavformat marks them "discard": needed for decoding, not to be shown) are left out, as
  // the decoder leaves them out.
  std::vector<std::int64_t> pts;
  // Key frames by ascending pts, those cut away by the edit list included: decoding may have to
  // start at one of them.
  std::vector<Key> keys;
  Key first_packet;
  std::int64_t last_duration = 0;  // of the last presented frame; 0 when the container is silent
  bool cut_short = false;          // the container promises more frames than the file holds
  bool missing_times = false;      // some packet has no presentation time stamp

  // Index of the first frame presented at or after the time stamp; pts.size() when there is none.
  long at_or_after(std::int64_t time_stamp) const;
  // Index of the frame with exactly this time stamp, or -1.
  long find(std::int64_t time_stamp) const;
};

// Reads all packets of the stream from where the demuxer stands to the end.
FrameTable read_frame_table(AVFormatContext& format, int stream);

struct Pace {
  double rate_hz = 0.0;       // 0 with fewer than two frames
  double uneven_share = 0.0;  // share of intervals not near the median one
};

// Frames per second, robustly: the mean of the intervals close to the median interval. The mean
// undoes the rounding of coarse time bases (240/s in milliseconds alternates between 4 and 5); the
// median keeps out long holds such as a player's odd first interval.
Pace robust_pace(const std::vector<std::int64_t>& pts, AVRational time_base);

// The time stamps as ticks since the first, with the rounding taken back where a coarse clock cut
// an even rate to its ticks: a film that went through a container of milliseconds (Matroska), or of
// 1/600 s, has frames up to half a tick early or late, and an arrow flies 10 px in that. Where the
// stamps are no such even rate within the rounding, they are left as told.
std::vector<double> even_ticks(const std::vector<std::int64_t>& pts);

}  // namespace nocktrail::media
