#include "frame_table.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numeric>

#include "nocktrail/median.hpp"

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
  const double median = upper_median(ordered);
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

std::vector<double> even_ticks(const std::vector<std::int64_t>& pts) {
  std::vector<double> as_told(pts.size());
  std::transform(pts.begin(), pts.end(), as_told.begin(),
                 [&](std::int64_t one) { return static_cast<double>(one - pts.front()); });
  constexpr std::size_t kFewest = 8;
  if (pts.size() < kFewest) {
    return as_told;
  }
  std::int64_t quantum = 0;
  for (std::size_t i = 0; i + 1 < pts.size(); ++i) {
    quantum = std::gcd(quantum, pts[i + 1] - pts[i]);
  }
  const double period = 1.0 / robust_pace(pts, {1, 1}).rate_hz;
  const auto rounding = static_cast<double>(quantum);
  // Of the period. What is coarser is no rounding but the rate itself, with frames left out.
  constexpr double kMatters = 0.02;
  constexpr double kCoarsest = 0.45;
  if (!std::isfinite(period) || rounding < kMatters * period || rounding > kCoarsest * period) {
    return as_told;
  }
  // Which beat of an even clock each frame is; frames that were dropped leave beats out.
  std::vector<double> beat(pts.size(), 0.0);
  for (std::size_t i = 1; i < pts.size(); ++i) {
    beat[i] = beat[i - 1] + std::max(1.0, std::round((as_told[i] - as_told[i - 1]) / period));
  }
  const auto count = static_cast<double>(pts.size());
  const double mean_beat = std::accumulate(beat.begin(), beat.end(), 0.0) / count;
  const double mean_tick = std::accumulate(as_told.begin(), as_told.end(), 0.0) / count;
  double product = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < pts.size(); ++i) {
    product += (beat[i] - mean_beat) * (as_told[i] - mean_tick);
    square += (beat[i] - mean_beat) * (beat[i] - mean_beat);
  }
  const double slope = product / square;
  std::vector<double> even(pts.size());
  constexpr double kMostOff = 0.7;  // of the rounding: half of it, and what the line is off by
  for (std::size_t i = 0; i < pts.size(); ++i) {
    even[i] = mean_tick + slope * (beat[i] - mean_beat);
    if (std::abs(even[i] - as_told[i]) > kMostOff * rounding) {
      return as_told;
    }
  }
  const double first = even.front();
  for (double& tick : even) {
    tick -= first;
  }
  return even;
}

}  // namespace nocktrail::media
