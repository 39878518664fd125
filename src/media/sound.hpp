// Decoding of the sound track.
#pragma once

#include <filesystem>
#include <optional>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::media {

// The best sound track, mono, at most max_rate_hz, in *play* time of the container: start_t_s is
// the time stamp of the first sample, s_per_sample = 1 / sample_rate_hz. Holes in the track become
// silence so that later sounds keep their time; reading stops where the track breaks, and well
// past the end of the picture (video_duration_s). nullopt when nothing can be decoded.
std::optional<Sound> read_sound(const std::filesystem::path& path, double max_rate_hz,
                                double video_duration_s);

}  // namespace nocktrail::media
