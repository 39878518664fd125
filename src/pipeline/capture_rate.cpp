#include "capture_rate.hpp"

#include <fmt/format.h>

#include <cmath>

#include "nocktrail/rules/words.hpp"

namespace nocktrail::pipeline {

bool too_slow(const media::ClipInfo& info, const RateOptions& options) {
  return info.capture_fps < options.least_fps;
}

bool may_be_stretched(const media::ClipInfo& info, const RateOptions& options) {
  if (info.capture_fps_source != RateSource::container ||
      info.capture_fps >= options.most_play_fps) {
    return false;
  }
  if (!info.has_audio) {
    return true;
  }
  if (!info.sound_share) {
    return false;
  }
  const double difference = std::abs(*info.sound_share - 1.0);
  return difference > options.most_sound_difference &&
         difference * info.duration_s > options.most_sound_difference_s;
}

std::string why_too_slow(const media::ClipInfo& info) {
  std::string why = fmt::format(
      "{:.0f} frames a second are too few to see an arrow leave the bow: film in slow motion, 120 "
      "or better 240 frames a second",
      info.capture_fps);
  // A tag and the user's word are about the filming itself.
  if (info.capture_fps_source == RateSource::container) {
    why += fmt::format(
        "; if it is slow motion that was flattened or re-timed on the way, send the phone's "
        "original file or {}",
        rules::kSayRate);
  }
  return why;
}

}  // namespace nocktrail::pipeline
