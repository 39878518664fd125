#include "nocktrail/media/clip.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <stdexcept>

#include "container.hpp"
#include "frame_table.hpp"
#include "grey.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/extent.hpp"
#include "orientation.hpp"
#include "sound.hpp"
#include "video_reader.hpp"

namespace nocktrail::media {
namespace {

constexpr const char* kRateTag = "com.android.capture.fps";
constexpr const char* kFocalTag = "com.apple.quicktime.camera.focal_length.35mm_equivalent";

// A tag this close to the container's own rate names the same rate, rounded: the clip is not
// stretched and its time stamps are capture times as they stand.
constexpr double kSameRate = 0.02;

[[noreturn]] void refuse(const std::filesystem::path& path, const std::string& what) {
  throw UnreadableClip(fmt::format("{}: {}", printable(path), what));
}

Orientation orientation_of(const AVStream& stream) {
  std::array<std::int32_t, 9> matrix{};
  std::size_t size = 0;
  const std::uint8_t* data = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, &size);
  if (data == nullptr || size < sizeof(matrix)) {
    return {};
  }
  std::memcpy(matrix.data(), data, sizeof(matrix));
  return orientation_from_matrix(matrix);
}

// In play time; nullopt where the container does not say.
std::optional<double> stated_length_s(const AVStream& stream) {
  if (stream.duration == AV_NOPTS_VALUE || stream.duration <= 0) {
    return std::nullopt;
  }
  return static_cast<double>(stream.duration) * av_q2d(stream.time_base);
}

void require_sane_size(const std::filesystem::path& path, const AVCodecParameters& codec,
                       int max_side_px) {
  if (codec.width > max_side_px || codec.height > max_side_px) {
    refuse(path, fmt::format("frames of {} x {} pixels are too large (limit {} a side); film at "
                             "1080p or 4K",
                             codec.width, codec.height, max_side_px));
  }
}

void choose_rate(ClipInfo& info, const OpenOptions& options) {
  info.capture_fps = info.container_fps;
  info.capture_fps_source = RateSource::container;
  info.capture_s_per_play_s = 1.0;
  if (options.capture_fps) {
    info.capture_fps = *options.capture_fps;
    info.capture_fps_source = RateSource::user;
    info.capture_s_per_play_s = info.container_fps / info.capture_fps;
  } else if (info.tag_fps && *info.tag_fps <= options.max_fps) {
    info.capture_fps = *info.tag_fps;
    info.capture_fps_source = RateSource::tag;
    const double stretch = info.container_fps / info.capture_fps;
    info.capture_s_per_play_s = std::abs(stretch - 1.0) <= kSameRate ? 1.0 : stretch;
  }
}

}  // namespace

struct Clip::State {
  std::filesystem::path path;
  OpenOptions options;
  ClipInfo info;
  FrameTable table;
  AVRational time_base{0, 1};
  std::unique_ptr<VideoReader> reader;
  GreyMaker grey;
  ReadOptions reading;
  bool positioned = false;
  std::string broken;

  void fill_times();
};

void Clip::State::fill_times() {
  const double capture_s_per_tick = av_q2d(time_base) * info.capture_s_per_play_s;
  info.frame_t_s = even_ticks(table.pts);
  for (double& time : info.frame_t_s) {
    time *= capture_s_per_tick;
  }
  const double last_s = table.last_duration > 0
                            ? static_cast<double>(table.last_duration) * capture_s_per_tick
                            : info.capture_s_per_play_s / info.container_fps;
  info.duration_s = info.frame_t_s.back() + last_s;
}

Clip::Clip(std::unique_ptr<State> state) : state_(std::move(state)) {}
Clip::Clip(Clip&&) noexcept = default;
Clip& Clip::operator=(Clip&&) noexcept = default;
Clip::~Clip() = default;

const ClipInfo& Clip::info() const {
  return state_->info;
}
const std::filesystem::path& Clip::path() const {
  return state_->path;
}

const std::string& Clip::broken() const {
  return state_->broken.empty() ? state_->reader->broken() : state_->broken;
}

Clip Clip::open(const std::filesystem::path& path, const OpenOptions& options) {
  if (options.capture_fps && !(*options.capture_fps > 0.0 && *options.capture_fps <= 1e6)) {
    throw BadInput(
        fmt::format("capture rate {}: not a frame rate; give frames per second, for example 240",
                    *options.capture_fps));
  }
  auto state = std::make_unique<State>();
  state->path = path;
  state->options = options;
  Libav<AVFormatContext> format = open_container(path);
  const int stream_index = choose_video_stream(*format, path);
  const AVStream& stream = *format->streams[stream_index];
  const AVCodecParameters& codec = *stream.codecpar;
  require_sane_size(path, codec, options.max_side_px);

  ClipInfo& info = state->info;
  info.codec = avcodec_get_name(codec.codec_id);
  info.stored_width = codec.width;
  info.stored_height = codec.height;
  info.orientation = orientation_of(stream);
  info.width = swaps_sides(info.orientation) ? codec.height : codec.width;
  info.height = swaps_sides(info.orientation) ? codec.width : codec.height;
  info.tag_fps = number_tag(*format, stream_index, kRateTag);
  info.focal_35mm_tag = number_tag(*format, stream_index, kFocalTag);
  info.hdr = is_hdr(codec.color_trc);
  for (unsigned i = 0; i < format->nb_streams; ++i) {
    AVStream& other = *format->streams[i];
    if (other.codecpar->codec_type == AVMEDIA_TYPE_AUDIO && !info.has_audio) {
      info.has_audio = true;
      const std::optional<double> sound_s = stated_length_s(other);
      const std::optional<double> picture_s = stated_length_s(stream);
      if (sound_s && picture_s) {
        info.sound_share = *sound_s / *picture_s;
      }
    }
    if (static_cast<int>(i) != stream_index) {
      other.discard = AVDISCARD_ALL;
    }
  }
  state->time_base = stream.time_base;
  state->table = read_frame_table(*format, stream_index);
  FrameTable& table = state->table;
  if (table.missing_times) {
    refuse(path,
           "its frames carry no time stamps; give the phone's own mp4, mov, mkv or webm file");
  }
  state->reader = std::make_unique<VideoReader>(
      ReaderSettings{path, stream_index, options.threads, options.max_side_px}, std::move(format),
      table);

  // Leading frames that need something before the file's start never come out of the decoder.
  const std::int64_t first =
      table.pts.empty() ? AV_NOPTS_VALUE : state->reader->first_decodable_pts();
  if (first == AV_NOPTS_VALUE) {
    refuse(path,
           "not one frame can be decoded; copy the original from the phone again and check that it "
           "plays there");
  }
  table.pts.erase(table.pts.begin(), table.pts.begin() + table.find(first));
  if (table.pts.size() < 2) {
    refuse(path, "holds a single picture, not a clip; give the slow-motion video itself");
  }
  const Pace pace = robust_pace(table.pts, state->time_base);
  info.container_fps = pace.rate_hz;
  info.uneven_share = pace.uneven_share;
  if (!(info.container_fps <= options.max_fps)) {
    refuse(path, fmt::format("claims {:.0f} frames a second, which no phone films (limit {:.0f}); "
                             "give the phone's original file",
                             info.container_fps, options.max_fps));
  }
  info.cut_short = table.cut_short || extent_of(path).ends_early;
  choose_rate(info, options);
  state->fill_times();
  return Clip(std::move(state));
}

void Clip::seek(long frame_index, const ReadOptions& options) {
  const int shrink = options.shrink;
  if ((shrink != 1 && shrink != 2 && shrink != 4 && shrink != 8 && shrink != 16) ||
      shrink > std::min(state_->info.width, state_->info.height)) {
    throw std::invalid_argument("ReadOptions::shrink must be 1, 2, 4, 8 or 16 and fit the picture");
  }
  state_->reading = options;
  state_->broken.clear();
  state_->reader->seek(frame_index, options.fast);
  state_->positioned = true;
}

void Clip::rest() {
  state_->reader->rest();
  state_->positioned = false;
}

bool Clip::next(Frame& frame) {
  State& state = *state_;
  if (!state.positioned) {
    seek(0, {});
  }
  if (!state.broken.empty()) {
    return false;
  }
  long index = 0;
  const AVFrame* decoded = state.reader->next(index);
  if (decoded == nullptr) {
    return false;
  }
  const ClipInfo& info = state.info;
  if (decoded->width != info.stored_width || decoded->height != info.stored_height) {
    state.broken = fmt::format("the picture size changes at frame {}", index);
    return false;
  }
  frame.index = index;
  frame.t_s = info.frame_t_s[static_cast<std::size_t>(index)];
  state.grey.luma(*decoded, info.orientation, state.reading.shrink, frame.luma);
  if (state.reading.chroma) {
    state.grey.chroma(*decoded, info.orientation, frame.chroma_u, frame.chroma_v);
  } else {
    frame.chroma_u.release();
    frame.chroma_v.release();
  }
  return true;
}

std::optional<Sound> Clip::sound(double max_rate_hz) const {
  const State& state = *state_;
  if (!state.info.has_audio) {
    return std::nullopt;
  }
  const double first_frame_s =
      static_cast<double>(state.table.pts.front()) * av_q2d(state.time_base);
  std::optional<Sound> sound =
      read_sound(state.path, max_rate_hz, state.info.duration_s / state.info.capture_s_per_play_s);
  if (sound) {
    sound->start_t_s = (sound->start_t_s - first_frame_s) * state.info.capture_s_per_play_s;
    sound->s_per_sample *= state.info.capture_s_per_play_s;
  }
  return sound;
}

}  // namespace nocktrail::media
