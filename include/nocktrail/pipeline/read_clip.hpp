// The whole way from a file to a reading: media -> steady -> track -> flight -> rules.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "nocktrail/reading.hpp"

namespace nocktrail {

struct ReadClipOptions {
  Hand hand = Hand::unknown;
  std::optional<double> cant_deg;        // of the bow, upper limb to the shooter's right positive
  std::optional<double> arrow_length_m;  // nock throat to the end of the point
  std::optional<double> focal_35mm;      // contract's diagonal convention
  std::optional<double> capture_fps;     // the user's word
  std::optional<double> target_distance_m;  // from the arrow rest to the butt's face, within 1 %
  std::optional<double> speed_mps;          // of the arrow past the bow, within 1 %
  std::optional<View> view;                 // from where it was filmed; empty: seen
  bool fletched = false;                    // of a bare shaft more is forbidden
  bool bare = false;                        // known to be
  double dead_band_deg = 0.5;               // offsets smaller than this count as straight
  std::filesystem::path debug_dir;          // non-empty: each stage leaves a picture of what it saw
};

// Told as the work goes on: a short phrase and the done share in [0, 1] of the whole clip.
// Returning false asks for a stop; read_clip then throws Interrupted.
using Progress = std::function<bool(const std::string& what, double done)>;

struct Interrupted {};

// Reads one clip. Never throws for what the clip holds: an unreadable file comes back with status
// error and a one-line reason, a clip without a measurable loose with no_shot or refused. Throws
// BadInput for options outside their range, and Interrupted.
Reading read_clip(const std::filesystem::path& path, const ReadClipOptions& options,
                  const Progress& progress = {});

}  // namespace nocktrail
