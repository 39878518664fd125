// Bytes as a clip: container, tags, frame table, orientation, grey, seeking and sound. What libav
// itself does with them is libav's, but the way through it is ours.
#include <algorithm>
#include <cmath>

#include "fuzz.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"

namespace nocktrail::fuzz {
namespace {

// So small and so few that a second holds many inputs; the code has no other way for large ones.
constexpr int kMaxSide_px = 512;
constexpr int kMaxFrames = 12;

void read_some(media::Clip& clip, long from, const media::ReadOptions& options) {
  clip.seek(from, options);
  media::Frame frame;
  long last = -1;
  for (int i = 0; i < kMaxFrames && clip.next(frame); ++i) {
    require(frame.index > last, "frames out of order");
    require(!frame.luma.empty(), "a frame without a picture");
    require(std::isfinite(frame.t_s), "a frame without a time");
    last = frame.index;
  }
}

void look_at(const std::filesystem::path& path) {
  media::Clip clip = media::Clip::open(path, {.threads = 1, .max_side_px = kMaxSide_px});
  const media::ClipInfo& info = clip.info();
  require(info.frame_t_s.size() >= 2, "a clip of fewer than two frames was opened");
  require(std::is_sorted(info.frame_t_s.begin(), info.frame_t_s.end()), "times out of order");
  require(info.capture_fps > 0.0 && std::isfinite(info.capture_fps), "no frame rate");
  require(std::isfinite(info.duration_s), "no duration");
  read_some(clip, 0, {.chroma = true});
  if (std::min(info.width, info.height) >= 4) {
    read_some(clip, static_cast<long>(info.frame_t_s.size()) / 2, {.shrink = 4, .fast = true});
  }
  if (const std::optional<media::Sound> sound = clip.sound()) {
    require(sound->sample_rate_hz > 0.0, "sound without a rate");
    require(std::isfinite(sound->start_t_s), "sound without a time");
  }
}

}  // namespace
}  // namespace nocktrail::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  const std::filesystem::path path = fuzz::scratch_file("clip", fuzz::text_of(data, size));
  static_cast<void>(media::filmed_at(path));
  try {
    fuzz::look_at(path);
  } catch (const UnreadableClip& refused) {
    fuzz::require_one_line(refused);
  }
  return 0;
}
