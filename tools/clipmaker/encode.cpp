#include "encode.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <stdexcept>
#include <utility>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/display.h>
#include <libavutil/opt.h>
}

namespace clipmaker {
namespace {

constexpr int kTicksPerSecond = 90000;

void must(int code, const char* what) {
  if (code < 0) {
    char text[AV_ERROR_MAX_STRING_SIZE] = {};
    av_strerror(code, text, sizeof text);
    throw std::runtime_error(fmt::format("{}: {}", what, text));
  }
}

}  // namespace

struct Encoder::State {
  PictureSpec picture;
  Sound sound;
  std::string path;
  AVFormatContext* file = nullptr;
  AVCodecContext* video = nullptr;
  AVCodecContext* audio = nullptr;
  AVStream* video_stream = nullptr;
  AVStream* audio_stream = nullptr;
  AVFrame* frame = nullptr;
  AVFrame* samples = nullptr;
  AVPacket* packet = nullptr;
  std::int64_t index = 0;
  std::size_t sample = 0;

  ~State() {
    av_packet_free(&packet);
    av_frame_free(&frame);
    av_frame_free(&samples);
    avcodec_free_context(&video);
    avcodec_free_context(&audio);
    if (file != nullptr) {
      if (file->pb != nullptr) {
        avio_closep(&file->pb);
      }
      avformat_free_context(file);
    }
  }

  double play_fps() const { return picture.play_fps > 0.0 ? picture.play_fps : picture.fps; }

  void open_video(int threads) {
    const bool hevc = picture.codec == "hevc";
    const AVCodec* codec = avcodec_find_encoder_by_name(hevc ? "libx265" : "libx264");
    if (codec == nullptr) {
      throw std::runtime_error(fmt::format("this libavcodec has no {} encoder", picture.codec));
    }
    video = avcodec_alloc_context3(codec);
    video->width = picture.width;
    video->height = picture.height;
    video->pix_fmt = AV_PIX_FMT_YUV420P;
    video->time_base = {1, kTicksPerSecond};
    video->framerate = av_d2q(play_fps(), 100000);
    video->color_range = AVCOL_RANGE_MPEG;
    video->colorspace = AVCOL_SPC_BT709;
    video->color_primaries = AVCOL_PRI_BT709;
    video->color_trc = AVCOL_TRC_BT709;
    video->max_b_frames = 0;  // as phones record
    video->gop_size = static_cast<int>(std::lround(picture.fps));
    video->thread_count = threads;
    // Constant quality up to the rate the phone allows itself: the first pictures of a clip are as
    // good as later ones, as in a recording that was cut out of a longer one.
    av_opt_set_double(video->priv_data, "crf", picture.crf, 0);
    if (picture.bitrate_mbps > 0.0) {
      video->rc_max_rate = static_cast<std::int64_t>(picture.bitrate_mbps * 1e6);
      const double quarter_second = 0.25 * picture.fps / play_fps();  // of capture, played
      video->rc_buffer_size =
          static_cast<int>(std::min(picture.bitrate_mbps * 1e6 * quarter_second, 2e9));
    }
    av_opt_set(video->priv_data, "preset", picture.preset.c_str(), 0);
    if (hevc) {
      av_opt_set(video->priv_data, "x265-params",
                 fmt::format("log-level=error:pools={}:frame-threads=1:bframes=0", threads).c_str(),
                 0);
      video->codec_tag = MKTAG('h', 'v', 'c', '1');
    }
    if ((file->oformat->flags & AVFMT_GLOBALHEADER) != 0) {
      video->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    }
    must(avcodec_open2(video, codec, nullptr), "cannot open the video encoder");
    video_stream = avformat_new_stream(file, nullptr);
    must(avcodec_parameters_from_context(video_stream->codecpar, video), "video parameters");
    video_stream->time_base = video->time_base;
    video_stream->avg_frame_rate = video->framerate;
    if (picture.rotation_deg != 0 || picture.mirrored) {
      auto* matrix = reinterpret_cast<std::int32_t*>(av_stream_new_side_data(
          video_stream, AV_PKT_DATA_DISPLAYMATRIX, 9 * sizeof(std::int32_t)));
      // libavutil 57 takes the angle clockwise here (its own reader negates it); the check against
      // ffmpeg's autorotation is in README.md.
      av_display_rotation_set(matrix, picture.rotation_deg);
      if (picture.mirrored) {
        // Flip the stored picture first, then turn it: negate what the stored x contributes.
        matrix[0] = -matrix[0];
        matrix[1] = -matrix[1];
      }
    }
  }

  void open_audio() {
    const AVCodec* codec = avcodec_find_encoder(AV_CODEC_ID_AAC);
    audio = avcodec_alloc_context3(codec);
    audio->sample_rate = sound.rate_hz;
    audio->sample_fmt = AV_SAMPLE_FMT_FLTP;
    audio->bit_rate = 96000;
    av_channel_layout_default(&audio->ch_layout, 1);
    audio->time_base = {1, sound.rate_hz};
    audio->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    must(avcodec_open2(audio, codec, nullptr), "cannot open the sound encoder");
    audio_stream = avformat_new_stream(file, nullptr);
    must(avcodec_parameters_from_context(audio_stream->codecpar, audio), "sound parameters");
    audio_stream->time_base = audio->time_base;
    samples = av_frame_alloc();
    samples->format = AV_SAMPLE_FMT_FLTP;
    samples->nb_samples = audio->frame_size;
    samples->sample_rate = sound.rate_hz;
    av_channel_layout_default(&samples->ch_layout, 1);
    must(av_frame_get_buffer(samples, 0), "sound buffer");
  }

  void drain(AVCodecContext* codec, AVStream* stream, std::int64_t duration) {
    while (true) {
      const int code = avcodec_receive_packet(codec, packet);
      if (code == AVERROR(EAGAIN) || code == AVERROR_EOF) {
        return;
      }
      must(code, "encoding failed");
      if (duration > 0) {
        packet->duration = duration;
      }
      av_packet_rescale_ts(packet, codec->time_base, stream->time_base);
      packet->stream_index = stream->index;
      must(av_interleaved_write_frame(file, packet), "cannot write the file");
    }
  }

  void write_sound_until(double seconds) {
    if (audio == nullptr) {
      return;
    }
    const auto limit = std::min(sound.mono.size(),
                                static_cast<std::size_t>(std::max(seconds, 0.0) * sound.rate_hz));
    while (sample < limit) {
      const auto count =
          std::min(sound.mono.size() - sample, static_cast<std::size_t>(audio->frame_size));
      must(av_frame_make_writable(samples), "sound buffer");
      samples->nb_samples = static_cast<int>(count);
      std::memcpy(samples->data[0], sound.mono.data() + sample, count * sizeof(float));
      samples->pts = static_cast<std::int64_t>(sample);
      sample += count;
      must(avcodec_send_frame(audio, samples), "encoding sound failed");
      drain(audio, audio_stream, 0);
    }
  }

  // The muxer writes metadata keys as text; phones write the capture rate as a 32-bit float (data
  // type 23). The text is four characters long, so type and value can be replaced in place.
  void write_capture_rate_as_float() const {
    std::FILE* raw = std::fopen(path.c_str(), "rb+");
    if (raw == nullptr) {
      return;
    }
    std::fseek(raw, 0, SEEK_END);
    const long size = std::ftell(raw);
    const long from = std::max(0L, size - (1L << 20));
    std::vector<unsigned char> tail(static_cast<std::size_t>(size - from));
    std::fseek(raw, from, SEEK_SET);
    if (std::fread(tail.data(), 1, tail.size(), raw) == tail.size()) {
      const unsigned char mark[] = {'d', 'a', 't', 'a', 0, 0, 0, 1, 0, 0, 0, 0, '#', 'F', 'P', 'S'};
      const auto at = std::search(tail.begin(), tail.end(), std::begin(mark), std::end(mark));
      if (at != tail.end()) {
        const auto bits = std::bit_cast<std::uint32_t>(static_cast<float>(picture.fps));
        const unsigned char value[] = {0,
                                       0,
                                       0,
                                       23,
                                       0,
                                       0,
                                       0,
                                       0,
                                       static_cast<unsigned char>(bits >> 24U),
                                       static_cast<unsigned char>(bits >> 16U),
                                       static_cast<unsigned char>(bits >> 8U),
                                       static_cast<unsigned char>(bits)};
        std::fseek(raw, from + (at - tail.begin()) + 4, SEEK_SET);
        std::fwrite(value, 1, sizeof value, raw);
      }
    }
    std::fclose(raw);
  }
};

Encoder::Encoder(const std::string& path, const PictureSpec& picture, Sound sound, int threads)
    : state_(std::make_unique<State>()) {
  State& s = *state_;
  s.picture = picture;
  s.sound = std::move(sound);
  s.path = path;
  av_log_set_level(AV_LOG_ERROR);
  must(avformat_alloc_output_context2(&s.file, nullptr, "mp4", path.c_str()),
       "cannot start a file");
  s.packet = av_packet_alloc();
  s.open_video(threads);
  if (!s.sound.mono.empty()) {
    s.open_audio();
  }
  must(avio_open(&s.file->pb, path.c_str(), AVIO_FLAG_WRITE),
       fmt::format("cannot write {}", path).c_str());
  AVDictionary* options = nullptr;
  if (picture.capture_tag) {
    av_dict_set(&s.file->metadata, "com.android.capture.fps", "#FPS", 0);
    av_dict_set(&options, "movflags", "use_metadata_tags", 0);
  }
  const int code = avformat_write_header(s.file, &options);
  av_dict_free(&options);
  must(code, "cannot write the header");
  s.frame = av_frame_alloc();
  s.frame->format = AV_PIX_FMT_YUV420P;
  s.frame->width = picture.width;
  s.frame->height = picture.height;
  must(av_frame_get_buffer(s.frame, 0), "picture buffer");
}

Encoder::~Encoder() = default;

void Encoder::write(const StoredFrame& in) {
  State& s = *state_;
  must(av_frame_make_writable(s.frame), "picture buffer");
  const auto copy = [](const std::vector<std::uint8_t>& from, int w, int h, std::uint8_t* to,
                       int stride) {
    for (int y = 0; y < h; ++y) {
      std::memcpy(to + static_cast<std::ptrdiff_t>(y) * stride,
                  from.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(w),
                  static_cast<std::size_t>(w));
    }
  };
  copy(in.y, in.width, in.height, s.frame->data[0], s.frame->linesize[0]);
  copy(in.u, in.width / 2, in.height / 2, s.frame->data[1], s.frame->linesize[1]);
  copy(in.v, in.width / 2, in.height / 2, s.frame->data[2], s.frame->linesize[2]);
  const double tick = kTicksPerSecond / s.play_fps();
  s.frame->pts = std::llround(static_cast<double>(s.index) * tick);
  ++s.index;
  s.write_sound_until(static_cast<double>(s.index) / s.play_fps());
  must(avcodec_send_frame(s.video, s.frame), "encoding failed");
  s.drain(s.video, s.video_stream, std::llround(tick));
}

void Encoder::finish() {
  State& s = *state_;
  must(avcodec_send_frame(s.video, nullptr), "encoding failed");
  s.drain(s.video, s.video_stream, std::llround(kTicksPerSecond / s.play_fps()));
  if (s.audio != nullptr) {
    s.write_sound_until(1e9);
    must(avcodec_send_frame(s.audio, nullptr), "encoding sound failed");
    s.drain(s.audio, s.audio_stream, 0);
  }
  must(av_write_trailer(s.file), "cannot finish the file");
  avio_closep(&s.file->pb);
  if (s.picture.capture_tag) {
    s.write_capture_rate_as_float();
  }
}

}  // namespace clipmaker
