#include "nocktrail/media/film.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <stdexcept>
#include <utility>

#include "libav.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/version.hpp"

namespace nocktrail::media {
namespace {

constexpr std::size_t kMostBytes = std::size_t{256} << 20U;
constexpr int kIoBuffer = 1 << 16;

// What the file is written into, and read from where the index is moved to its beginning.
struct Place {
  std::string* bytes = nullptr;
  std::int64_t at = 0;
};

int put(void* opaque, std::uint8_t* from, int size) {
  Place& place = *static_cast<Place*>(opaque);
  const auto begin = static_cast<std::size_t>(place.at);
  const std::size_t end = begin + static_cast<std::size_t>(size);
  if (end > kMostBytes) {
    return AVERROR(ENOSPC);
  }
  try {
    if (end > place.bytes->size()) {
      place.bytes->resize(end);
    }
  } catch (const std::bad_alloc&) {
    return AVERROR(ENOMEM);
  }
  std::memcpy(place.bytes->data() + begin, from, static_cast<std::size_t>(size));
  place.at += size;
  return size;
}

int take(void* opaque, std::uint8_t* to, int size) {
  Place& place = *static_cast<Place*>(opaque);
  const auto left = static_cast<std::int64_t>(place.bytes->size()) - place.at;
  if (left <= 0) {
    return AVERROR_EOF;
  }
  const auto now = static_cast<int>(std::min<std::int64_t>(left, size));
  std::memcpy(to, place.bytes->data() + place.at, static_cast<std::size_t>(now));
  place.at += now;
  return now;
}

std::int64_t move(void* opaque, std::int64_t offset, int whence) {
  Place& place = *static_cast<Place*>(opaque);
  const auto size = static_cast<std::int64_t>(place.bytes->size());
  if (whence == AVSEEK_SIZE) {
    return size;
  }
  const std::int64_t from = whence == SEEK_CUR ? place.at : whence == SEEK_END ? size : 0;
  if (from + offset < 0) {
    return AVERROR(EINVAL);
  }
  return place.at = from + offset;
}

AVIOContext* opened(Place& place, bool writing) {
  auto* buffer = static_cast<unsigned char*>(av_malloc(kIoBuffer));
  AVIOContext* io = buffer == nullptr ? nullptr
                                      : avio_alloc_context(buffer, kIoBuffer, writing ? 1 : 0,
                                                           &place, writing ? nullptr : take,
                                                           writing ? put : nullptr, move);
  if (io == nullptr) {
    av_free(buffer);
  }
  return io;
}

struct CloseIo {
  void operator()(AVIOContext* io) const {
    av_freep(&io->buffer);
    avio_context_free(&io);
  }
};

struct CloseMuxer {
  void operator()(AVFormatContext* format) const { avformat_free_context(format); }
};

[[noreturn]] void fail(const char* what) {
  throw std::runtime_error(std::string("a film could not be made: ") + what);
}

void check(int outcome, const char* what) {
  if (outcome < 0) {
    fail(what);
  }
}

// --- the boxes of an MP4 file (ISO/IEC 14496-12, 4.2) ------------------------------------------

// What the first box of this kind holds; empty where there is none.
std::string_view inside(std::string_view boxes, std::string_view kind) {
  while (boxes.size() >= 8) {
    std::uint64_t size = 0;
    std::size_t head = 8;
    const auto number = [&](std::size_t at, std::size_t digits) {
      std::uint64_t value = 0;
      for (std::size_t i = at; i < at + digits; ++i) {
        value = value << 8U | static_cast<unsigned char>(boxes[i]);
      }
      return value;
    };
    size = number(0, 4);
    if (size == 1 && boxes.size() >= 16) {
      size = number(8, 8);
      head = 16;
    } else if (size == 0) {
      size = boxes.size();
    }
    if (size < head || size > boxes.size()) {
      return {};
    }
    if (boxes.substr(4, 4) == kind) {
      return boxes.substr(head, static_cast<std::size_t>(size) - head);
    }
    boxes.remove_prefix(static_cast<std::size_t>(size));
  }
  return {};
}

std::string_view without(std::string_view text, std::size_t head) {
  return text.substr(std::min(head, text.size()));
}

}  // namespace

struct Film::State {
  int width_px = 0;
  int height_px = 0;
  std::string bytes;
  Place writing;
  Place reading;
  std::unique_ptr<AVIOContext, CloseIo> io;
  std::unique_ptr<AVFormatContext, CloseMuxer> format;
  Libav<AVCodecContext> encoder;
  Libav<SwsContext> scaler;
  Libav<AVFrame> frame;
  Libav<AVPacket> packet;
  AVStream* stream = nullptr;
  std::int64_t count = 0;

  State(int width, int height, int frames_per_second) : width_px(width), height_px(height) {
    if (width <= 0 || height <= 0 || width % 2 != 0 || height % 2 != 0 || frames_per_second <= 0) {
      throw std::invalid_argument("a film's sizes are even");
    }
    open_encoder(frames_per_second);
    open_muxer();
    prepare_frame();
  }

  void open_encoder(int frames_per_second) {
    av_log_set_level(AV_LOG_QUIET);  // as for reading: its words mean nothing to an archer
    const AVCodec* codec = avcodec_find_encoder_by_name("libx264");
    if (codec == nullptr) {
      throw BadInput(
          "a film cannot be made: this computer's libavcodec has no H.264 encoder; install "
          "Debian's own libavcodec");
    }
    encoder.reset(avcodec_alloc_context3(codec));
    if (!encoder) {
      fail("no memory");
    }
    encoder->width = width_px;
    encoder->height = height_px;
    encoder->pix_fmt = AV_PIX_FMT_YUV420P;
    encoder->time_base = {1, frames_per_second};
    encoder->framerate = {frames_per_second, 1};
    encoder->sample_aspect_ratio = {1, 1};
    encoder->color_primaries = AVCOL_PRI_BT709;
    encoder->color_trc = AVCOL_TRC_BT709;
    encoder->colorspace = AVCOL_SPC_BT709;
    encoder->color_range = AVCOL_RANGE_MPEG;
    encoder->gop_size = frames_per_second;  // so that a thumb may drag it anywhere
    encoder->max_b_frames = 0;
    encoder->thread_count = 2;
    encoder->flags |= AV_CODEC_FLAG_GLOBAL_HEADER | AV_CODEC_FLAG_BITEXACT;
    AVDictionary* options = nullptr;
    av_dict_set(&options, "profile", "high", 0);
    av_dict_set(&options, "preset", "fast", 0);
    av_dict_set(&options, "crf", "19", 0);          // thin lines and small type stay sharp
    av_dict_set(&options, "rc-lookahead", "8", 0);  // frames held in memory
    const int outcome = avcodec_open2(encoder.get(), codec, &options);
    const Libav<AVDictionary> left(options);
    check(outcome, "its encoder does not begin");
  }

  void open_muxer() {
    AVFormatContext* made = nullptr;
    check(avformat_alloc_output_context2(&made, nullptr, "mp4", "replay.mp4"), "no MP4");
    format.reset(made);
    writing.bytes = &bytes;
    reading.bytes = &bytes;
    io.reset(opened(writing, true));
    if (!io) {
      fail("no memory");
    }
    format->pb = io.get();
    format->flags |= AVFMT_FLAG_CUSTOM_IO | AVFMT_FLAG_BITEXACT;
    // The index is moved to the front by reading what was written.
    format->opaque = this;
    format->io_open = [](AVFormatContext* of, AVIOContext** pb, const char*, int,
                         AVDictionary**) -> int {
      State& own = *static_cast<State*>(of->opaque);
      own.reading.at = 0;
      *pb = opened(own.reading, false);
      return *pb == nullptr ? AVERROR(ENOMEM) : 0;
    };
    format->io_close2 = [](AVFormatContext*, AVIOContext* pb) -> int {
      CloseIo{}(pb);
      return 0;
    };
    stream = avformat_new_stream(format.get(), nullptr);
    if (stream == nullptr) {
      fail("no memory");
    }
    check(avcodec_parameters_from_context(stream->codecpar, encoder.get()), "no parameters");
    stream->time_base = encoder->time_base;
    stream->avg_frame_rate = encoder->framerate;
    const std::string mark = std::string(kFilmMark) + " " + kVersion;
    av_dict_set(&format->metadata, "comment", mark.c_str(), 0);
    AVDictionary* options = nullptr;
    av_dict_set(&options, "movflags", "+faststart", 0);
    const int outcome = avformat_write_header(format.get(), &options);
    const Libav<AVDictionary> left(options);
    check(outcome, "no header");
  }

  void prepare_frame() {
    frame.reset(av_frame_alloc());
    packet.reset(av_packet_alloc());
    if (!frame || !packet) {
      fail("no memory");
    }
    frame->format = AV_PIX_FMT_YUV420P;
    frame->width = width_px;
    frame->height = height_px;
    frame->color_range = AVCOL_RANGE_MPEG;
    frame->colorspace = AVCOL_SPC_BT709;
    check(av_frame_get_buffer(frame.get(), 0), "no memory");
    scaler.reset(sws_getContext(width_px, height_px, AV_PIX_FMT_BGR24, width_px, height_px,
                                AV_PIX_FMT_YUV420P, SWS_BICUBIC | SWS_ACCURATE_RND, nullptr,
                                nullptr, nullptr));
    const int* bt709 = sws_getCoefficients(SWS_CS_ITU709);
    if (!scaler ||
        sws_setColorspaceDetails(scaler.get(), bt709, 1, bt709, 0, 0, 1 << 16, 1 << 16) < 0) {
      fail("no conversion of colours");
    }
  }

  void drain() {
    for (;;) {
      const int outcome = avcodec_receive_packet(encoder.get(), packet.get());
      if (outcome == AVERROR(EAGAIN) || outcome == AVERROR_EOF) {
        return;
      }
      check(outcome, "a frame is not encoded");
      av_packet_rescale_ts(packet.get(), encoder->time_base, stream->time_base);
      packet->stream_index = stream->index;
      packet->duration = av_rescale_q(1, encoder->time_base, stream->time_base);
      check(av_interleaved_write_frame(format.get(), packet.get()), "it grows too large");
    }
  }
};

Film::Film(int width_px, int height_px, int frames_per_second)
    : state_(std::make_unique<State>(width_px, height_px, frames_per_second)) {}

Film::Film(Film&&) noexcept = default;
Film::~Film() = default;

void Film::add(const cv::Mat& bgr) {
  State& own = *state_;
  if (bgr.type() != CV_8UC3 || bgr.cols != own.width_px || bgr.rows != own.height_px) {
    throw std::invalid_argument("a picture of another size or kind than the film's");
  }
  check(av_frame_make_writable(own.frame.get()), "no memory");
  const std::array<const std::uint8_t*, 1> from = {bgr.data};
  const std::array<int, 1> stride = {static_cast<int>(bgr.step[0])};
  sws_scale(own.scaler.get(), from.data(), stride.data(), 0, own.height_px, own.frame->data,
            own.frame->linesize);
  own.frame->pts = own.count++;
  check(avcodec_send_frame(own.encoder.get(), own.frame.get()), "a frame is not taken");
  own.drain();
}

std::string Film::finish() {
  State& own = *state_;
  check(avcodec_send_frame(own.encoder.get(), nullptr), "it does not end");
  own.drain();
  check(av_write_trailer(own.format.get()), "its index is not written");
  avio_flush(own.io.get());
  return std::move(own.bytes);
}

bool is_own_film(std::string_view bytes) {
  // QuickTime's list of facts: each a box with a box "data", eight bytes of kind and language
  // first.
  const std::string_view facts =
      inside(without(inside(inside(inside(bytes, "moov"), "udta"), "meta"), 4), "ilst");
  return without(inside(inside(facts,
                               "\xA9"
                               "cmt"),
                        "data"),
                 8)
      .starts_with(kFilmMark);
}

}  // namespace nocktrail::media
