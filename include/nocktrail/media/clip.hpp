// Video files as a stream of display-oriented frames with honest times.
#pragma once

#include <cstdint>
#include <ctime>
#include <filesystem>
#include <memory>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::media {

// How the stored picture becomes the displayed one: display = transform(stored), from the display
// matrix of the container (ISO/IEC 14496-12, tkhd). The stored picture is first mirrored left to
// right when `mirrored`, then turned clockwise by rotation_deg (0, 90, 180, 270). Other angles are
// rounded to the nearest quarter turn.
struct Orientation {
  int rotation_deg = 0;
  bool mirrored = false;
};

// One presented frame. A picture whose cv::Mat header the caller has copied is left alone by the
// next next(); otherwise its memory is used again.
struct Frame {
  long index = 0;    // presented frames from 0, after the edit list
  double t_s = 0.0;  // capture time since the first presented frame
  // CV_8UC1, display orientation. Eight-bit codes as stored (limited range stays 16 .. 235), deeper
  // ones rounded; HLG counts as an ordinary signal, PQ is folded to the like without clipping.
  cv::Mat luma;
  cv::Mat chroma_u;  // CV_8UC1, half size each way, 128 = neutral; empty when not asked for
  cv::Mat chroma_v;
};

// What the container says, before any frame is decoded.
struct ClipInfo {
  std::string codec;  // "h264", "hevc", "vp9", "av1", ...
  int stored_width = 0;
  int stored_height = 0;
  int width = 0;  // display size, after orientation
  int height = 0;
  Orientation orientation;
  double container_fps = 0.0;  // rate of the presentation time stamps, 1/s of play time: the mean
                               // of the intervals near the median one
  std::optional<double> tag_fps;         // com.android.capture.fps
  std::optional<double> focal_35mm_tag;  // com.apple.quicktime.camera.focal_length.35mm_equivalent
  // The rate in use: user, else tag (if at most OpenOptions::max_fps), else container.
  double capture_fps = 0.0;
  RateSource capture_fps_source = RateSource::container;
  // Capture time per unit of presentation time: container_fps / capture_fps; exactly 1 when a tag
  // is within 2 % of container_fps, for then it only names the container's rate in round figures.
  double capture_s_per_play_s = 1.0;
  // Capture time of each presented frame, ascending, [0] == 0: the time stamps scaled by the above,
  // never index / rate. Lost frames and holds therefore show as long intervals. A hold that a phone
  // adds for its player (one sets 0.325 s on the first frame of a 30 fps file) cannot be told from
  // a real gap: it stays, scaled like the rest, and only intervals near 1 / capture_fps are sure to
  // be real.
  std::vector<double> frame_t_s;
  // Share of the intervals that are not near the median one (30 %, or 1.5 ticks of the time base).
  // Near 0 in a plain recording; large where frames were lost or play speed was ramped, and then
  // one capture rate does not describe the clip.
  double uneven_share = 0.0;
  double duration_s = 0.0;  // capture time, last frame's duration included
  bool has_audio = false;
  // Length of the sound over that of the picture, in play time, by the container's word; nullopt
  // where there is no sound or the container is silent. Far from 1 where the picture was re-timed
  // and the sound was not.
  std::optional<double> sound_share;
  bool hdr = false;  // HLG or PQ
  // The file ends before its own account does: a copy that was broken off, or damage. The frames
  // that are there are sound; the loose may be among those that are not.
  bool cut_short = false;
};

struct OpenOptions {
  std::optional<double> capture_fps =
      std::nullopt;  // the user's word, 1/s; outranks tag and container
  int threads = 0;   // decoder threads, 0 = as many as the machine has
  // Limits beyond which a file is refused as absurd rather than decoded.
  int max_side_px = 4608;
  double max_fps = 2000.0;
};

struct ReadOptions {
  bool chroma = false;  // also deliver chroma planes
  // Deliver luma averaged over blocks of this side: 1, 2, 4, 8 or 16, else std::invalid_argument.
  // Blocks start at the displayed top left corner; an incomplete last row or column is left out.
  int shrink = 1;
  bool fast = false;  // allow decoder shortcuts that cost picture quality (loop filter off);
                      // for looking, not for measuring
};

// Mono sound.
struct Sound {
  double sample_rate_hz = 0.0;
  double start_t_s = 0.0;      // capture time of the first sample, by the container's word
  double s_per_sample = 0.0;   // capture time per sample (differs from 1/rate in stretched clips)
  std::vector<float> samples;  // -1 .. 1
};

// An opened clip. Frames are streamed: memory does not grow with the clip's length.
// Throws UnreadableClip (one line, names the file, says what to do) from open() for whatever
// cannot be read as video: missing, empty, truncated beyond use, text, audio only, a directory, no
// permission, zero-size or over-large frames, absurd rates. A stream that breaks in the middle
// ends there: next() returns false and `broken()` says why; what lies behind the break can still
// be sought. Throws BadInput for an OpenOptions::capture_fps that is no rate.
//
// Frames are told apart by their presentation time stamps, and frame_t_s and the decoded frames
// agree one for one. (Where a stream holds a frame that its decoder never shows, `index` skips it.)
// One Clip is for one thread at a time; several may be used in several threads. Opening the first
// one sets libav's log level, its only process-wide setting, to quiet. Square pixels are assumed.
class Clip {
 public:
  static Clip open(const std::filesystem::path& path, const OpenOptions& options = {});
  Clip(Clip&&) noexcept;
  Clip& operator=(Clip&&) noexcept;
  ~Clip();

  const ClipInfo& info() const;
  const std::filesystem::path& path() const;

  // Position so that the next frame delivered is the one with this presented index; decodes from
  // the nearest key frame before it. Sets what next() delivers until the next seek. An index past
  // the end makes next() return false. Without any seek, reading starts at 0 with the defaults.
  void seek(long frame_index, const ReadOptions& options);

  // Gives back the decoder's memory (tens of megabytes) while its frames are worked on. The next
  // next() starts at frame 0 with the defaults unless a seek comes first.
  void rest();

  // The next presented frame in order; false at the end.
  bool next(Frame& frame);

  // Empty while the stream is sound; else one sentence on where and why decoding stopped.
  const std::string& broken() const;

  // The whole sound track, mono, or nullopt when there is none or it cannot be decoded. The rate
  // is lowered to at most max_rate_hz so that memory stays small (64 kB for each second of play at
  // 16 kHz). Holes become silence.
  std::optional<Sound> sound(double max_rate_hz = 16000.0) const;

 private:
  struct State;
  explicit Clip(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

// When a clip was filmed, seconds since 1970 UTC, by its own tag (ISO/IEC 14496-12, creation_time
// of mvhd or mdhd, and its like in other containers). nullopt where there is none, where the clock
// was never set, or where the file cannot be opened.
std::optional<std::time_t> filmed_at(const std::filesystem::path& path);

// Lower-case hex SHA-256 of the file's bytes. Throws UnreadableClip if it cannot be read.
std::string sha256_of_file(const std::filesystem::path& path);

}  // namespace nocktrail::media
