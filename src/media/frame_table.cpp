#include "frame_table.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace nocktrail::media {

long FrameTable::at_or_after(std::int64_t time_stamp) const {
  return std::lower_bound(pts.begin(), pts.end(), time_stamp) - pts.begin();
}

long FrameTable::find(std::int64_t time_stamp) const {
  const auto found = std::lower_bound(pts.begin(), pts.end(), time_stamp);
  return found != pts.end() && *found == time_stamp ? found - pts.begin() : -1;
}

FrameTable read_frame_table(AVFormatContext& format, int stream) {
  FrameTable table;
  const Libav<AVPacket> packet(av_packet_alloc());
  std::int64_t latest = AV_NOPTS_VALUE;
  int packets = 0;
  int status = 0;
  while ((status = av_read_frame(&format, packet.get())) >= 0) {
    if (packet->stream_index == stream) {
      if ((packet->flags & AV_PKT_FLAG_CORRUPT) != 0) {
        table.cut_short = true;  // a packet that reaches past the end of the file
        av_packet_unref(packet.get());
        break;
      }
      const FrameTable::Key position{packet->pts, packet->dts};
      if (packets++ == 0) {
        table.first_packet = position;
      }
      if (packet->pts == AV_NOPTS_VALUE) {
        table.missing_times = true;
      } else {
        if ((packet->flags & AV_PKT_FLAG_KEY) != 0) {
          table.keys.push_back(position);
        }
        if ((packet->flags & AV_PKT_FLAG_DISCARD) == 0) {
          table.pts.push_back(packet->pts);
          if (latest == AV_NOPTS_VALUE || packet->pts > latest) {
            latest = packet->pts;
            table.last_duration = packet->duration;
          }
        }
      }
    }
    av_packet_unref(packet.get());
  }
  if (status < 0 && status != AVERROR_EOF) {
    table.cut_short = true;
  }
  // An mp4 lists its frames up front; reading simply ends where the bytes end.
  if (av_match_name("mov", format.iformat->name) != 0 &&
      packets < avformat_index_get_entries_count(format.streams[stream])) {
    table.cut_short = true;
  }
  std::sort(table.pts.begin(), table.pts.end());
  table.pts.erase(std::unique(table.pts.begin(), table.pts.end()), table.pts.end());
  std::sort(table.keys.begin(), table.keys.end(),
            [](const FrameTable::Key& a, const FrameTable::Key& b) { return a.pts < b.pts; });
  return table;
}

Pace robust_pace(const std::vector<std::int64_t>& pts, AVRational time_base) {
  if (pts.size() < 2) {
    return {};
  }
  std::vector<double> ticks(pts.size() - 1);
  for (std::size_t i = 0; i + 1 < pts.size(); ++i) {
    ticks[i] = static_cast<double>(pts[i + 1] - pts[i]);
  }
  std::vector<double> ordered = ticks;
  const auto middle = ordered.begin() + static_cast<std::ptrdiff_t>(ordered.size() / 2);
  std::nth_element(ordered.begin(), middle, ordered.end());
  const double median = *middle;
  const double reach = std::max(0.3 * median, 1.5);  // 1.5 ticks: rounding moves both ends
  double sum = 0.0;
  double count = 0.0;
  for (const double interval : ticks) {
    if (std::abs(interval - median) <= reach) {
      sum += interval;
      count += 1.0;
    }
  }
  return {.rate_hz = count / (sum * av_q2d(time_base)),
          .uneven_share = 1.0 - count / static_cast<double>(ticks.size())};
}

}  // namespace nocktrail::media
