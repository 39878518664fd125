// Frames of clips for somebody who steps through them: decoded once and kept for a while, so that a
// step back does not decode from the last key frame again.
#pragma once

#include <atomic>
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <list>
#include <map>
#include <string>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::serve {

struct FrameStoreOptions {
  std::size_t most_clips = 2;                        // two people, each at a clip
  std::size_t most_bytes = std::size_t{128} << 20U;  // of each: some 40 frames of 1080p
  long behind = 16;                                  // kept on the way to one that is sought
  long read_on = 90;                                 // frames; farther ahead it is sought
  std::chrono::milliseconds patience{20000};         // for one frame, however far its key frame
};

class FrameStore {
 public:
  explicit FrameStore(const FrameStoreOptions& options = {}) : options_(options) {}

  // The frame with that presented index, as it was when the clip was opened or is now. For one
  // thread at a time. Throws Refused: 404 where there is none, 503 where it takes too long or
  // `stop` says so; UnreadableClip.
  media::Frame at(const std::filesystem::path& path, long index, const std::atomic<bool>& stop);

 private:
  struct Open {
    std::filesystem::path path;
    std::string stamp;
    media::Clip clip;
    long next = 0;  // the frame that comes next without seeking
    std::map<long, media::Frame> frames;
  };

  Open& opened(const std::filesystem::path& path);
  void decode(Open& open, long index, const std::atomic<bool>& stop) const;
  std::size_t room(const Open& open) const;

  FrameStoreOptions options_;
  std::list<Open> open_;  // the one asked for last in front
};

}  // namespace nocktrail::serve
