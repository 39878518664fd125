// What the file's own rate says before a frame is decoded. Private to the pipeline.
#pragma once

#include <string>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::pipeline {

struct RateOptions {
  double least_fps = 50.0;        // below, an arrow is gone in three or four frames
  double most_play_fps = 65.0;    // slow motion is stretched to 24 to 60 a second, never to more
  double usual_slow_fps = 240.0;  // at which phones film it
  // Sound that is shorter or longer than the picture by more than both was not recorded with it at
  // this rate; coders of sound pad by less.
  double most_sound_difference = 0.15;
  double most_sound_difference_s = 0.25;
};

// Whether the rate is below what an arrow needs.
bool too_slow(const media::ClipInfo& info, const RateOptions& options = {});

// Whether a clip that plays at an ordinary rate may be slow motion that was stretched for play
// without saying so: nobody has said at what rate it was filmed, and its sound is missing or is not
// as long as its picture, as editors leave it. A phone's ordinary clip has sound of its own length.
bool may_be_stretched(const media::ClipInfo& info, const RateOptions& options = {});

// One sentence for a clip that is too slow, with what to do, for both of what it may be.
std::string why_too_slow(const media::ClipInfo& info);

}  // namespace nocktrail::pipeline
