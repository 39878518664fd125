// The few frames of a flight as a film to look at and to send on: steadied, slowed, with the shaft
// as fitted and the flight path drawn on them; two shots, one over the other, where two are given.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::picture {

// One shot that is shown; `reading` is of the clip at reading.clip.path, whose frames are taken.
struct ReplayShot {
  Reading reading;
  std::size_t shot_number = 0;  // from 0
  // What the facts of its set-up forbid, whole sentences: written above everything else.
  std::vector<std::string> stops = {};
};

struct ReplayOptions {
  int shown_per_second = 12;  // frames of the clip, 2 to 30; each is held that long
  // Looked at before the string is let go, s of capture time; before the exit, where the loose is
  // not known.
  double before_loose_s = 0.012;
  double before_exit_s = 0.030;
  std::size_t most_frames = 150;  // of a longer flight every second one is shown, or third ...
  double last_held_s = 1.5;       // the last picture stays, s of play time
};

// Told the done share; returning false asks for a stop.
using ReplayProgress = std::function<bool(double done)>;

// Empty where the shot can be shown; else a sentence with the reason: it was not measured, or
// nothing of its flight can be drawn.
std::string why_no_replay(const Reading& reading, std::size_t shot_number);

// The bytes of an MP4 file (media/film.hpp), 720 px wide. One shot or two; the second is laid over
// the first, half transparent, moved so that the nocks meet where they leave the string, and timed
// from there. One frame of each clip is held in memory at a time, and of the frames before the exit
// the grey ones. Empty when `progress` asked for a stop.
//
// Throws BadInput, one line, for a shot that cannot be shown, for two of which one's exit is not
// known, and UnreadableClip where a clip is gone, or is not what was read any more.
std::optional<std::string> draw_replay(std::span<const ReplayShot> shots,
                                       const ReplayOptions& options,
                                       const ReplayProgress& progress = {});

}  // namespace nocktrail::picture
