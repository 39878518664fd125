#include "sound.hpp"

#include <algorithm>
#include <cmath>
#include <new>

#include "container.hpp"
#include "nocktrail/error.hpp"

namespace nocktrail::media {
namespace {

// Time stamps of sound jitter by the rounding of their time base; only more than this is a hole.
constexpr double kHole_s = 0.01;
// No recorder samples faster; what claims to is damaged, and every step here takes memory by it.
constexpr int kMostRate_hz = 384000;
// Silence is given to the resampler in pieces of at most so many samples: it keeps what it is
// given until it is asked for what it made of it.
constexpr long kSilence = 16384;
// Two hundred times a clip of a shot: 120 MB at 16 kHz. What lies beyond is not listened to.
constexpr double kLongest_s = 1800.0;

// Mono float samples at a lower rate from whatever the decoder gives.
class Mixer {
 public:
  Mixer(double max_rate_hz, double longest_s) : max_rate_hz_(max_rate_hz), longest_s_(longest_s) {}

  // False when the track cannot be taken further.
  bool add(const AVFrame& frame, double time_stamp_s) {
    if (resampler_ == nullptr && !start(frame, time_stamp_s)) {
      return false;
    }
    if (frame.sample_rate != in_rate_hz_ || frame.format != in_format_ ||
        frame.ch_layout.nb_channels != in_channels_) {
      return false;
    }
    const double hole_s = time_stamp_s - start_s_ - taken_ / in_rate_hz_;
    if (hole_s > kHole_s) {
      if (taken_ / in_rate_hz_ + hole_s > longest_s_) {
        return false;
      }
      if (!add_silence(std::lround(hole_s * in_rate_hz_))) {
        return false;
      }
    }
    taken_ += frame.nb_samples;
    return convert(const_cast<const std::uint8_t**>(frame.extended_data), frame.nb_samples) &&
           taken_ / in_rate_hz_ <= longest_s_;
  }

  std::optional<Sound> finish() {
    if (resampler_ == nullptr) {
      return std::nullopt;
    }
    convert(nullptr, 0);
    if (sound_.samples.empty()) {
      return std::nullopt;
    }
    sound_.start_t_s = start_s_;
    sound_.s_per_sample = 1.0 / sound_.sample_rate_hz;
    return std::move(sound_);
  }

 private:
  bool add_silence(long samples) {
    const auto format = static_cast<AVSampleFormat>(in_format_);
    const int most = static_cast<int>(std::min(samples, kSilence));
    std::uint8_t** planes = nullptr;
    if (av_samples_alloc_array_and_samples(&planes, nullptr, in_channels_, most, format, 0) < 0) {
      return false;
    }
    bool good = av_samples_set_silence(planes, 0, most, in_channels_, format) >= 0;
    for (; good && samples > 0; samples -= most) {
      const int part = static_cast<int>(std::min<long>(samples, most));
      good = convert(const_cast<const std::uint8_t**>(planes), part);
      taken_ += part;
    }
    av_freep(&planes[0]);
    av_freep(&planes);
    return good;
  }

  bool start(const AVFrame& frame, double time_stamp_s) {
    if (frame.sample_rate <= 0 || frame.sample_rate > kMostRate_hz ||
        frame.ch_layout.nb_channels <= 0) {
      return false;
    }
    in_rate_hz_ = frame.sample_rate;
    in_format_ = frame.format;
    in_channels_ = frame.ch_layout.nb_channels;
    start_s_ = time_stamp_s;
    const int out_rate = static_cast<int>(std::min(double{1} * in_rate_hz_, max_rate_hz_));
    AVChannelLayout mono = AV_CHANNEL_LAYOUT_MONO;
    AVChannelLayout in = frame.ch_layout;
    if (in.order == AV_CHANNEL_ORDER_UNSPEC) {
      av_channel_layout_default(&in, in_channels_);
    }
    SwrContext* raw = nullptr;
    const int status =
        swr_alloc_set_opts2(&raw, &mono, AV_SAMPLE_FMT_FLT, out_rate, &in,
                            static_cast<AVSampleFormat>(frame.format), in_rate_hz_, 0, nullptr);
    resampler_.reset(raw);
    sound_.sample_rate_hz = out_rate;
    if (status < 0 || swr_init(resampler_.get()) < 0) {
      resampler_.reset();
      return false;
    }
    return true;
  }

  bool convert(const std::uint8_t** in, int count) {
    const int room = swr_get_out_samples(resampler_.get(), count);
    if (room < 0) {
      return false;
    }
    const std::size_t have = sound_.samples.size();
    sound_.samples.resize(have + static_cast<std::size_t>(room));
    auto* out = reinterpret_cast<std::uint8_t*>(sound_.samples.data() + have);
    const int made = swr_convert(resampler_.get(), &out, room, in, count);
    sound_.samples.resize(have + static_cast<std::size_t>(std::max(made, 0)));
    return made >= 0;
  }

  double max_rate_hz_;
  double longest_s_;
  Libav<SwrContext> resampler_;
  Sound sound_;
  int in_rate_hz_ = 0;
  int in_format_ = 0;
  int in_channels_ = 0;
  double start_s_ = 0.0;
  double taken_ = 0.0;  // samples at the input's rate, silence included
};

// Takes what the decoder has ready; false when the mixer wants no more.
bool drain(AVCodecContext& decoder, AVFrame& frame, AVRational time_base, Mixer& mixer) {
  while (avcodec_receive_frame(&decoder, &frame) == 0) {
    if (frame.best_effort_timestamp == AV_NOPTS_VALUE) {
      continue;
    }
    if (!mixer.add(frame, static_cast<double>(frame.best_effort_timestamp) * av_q2d(time_base))) {
      return false;
    }
  }
  return true;
}

}  // namespace

std::optional<Sound> read_sound(const std::filesystem::path& path, double max_rate_hz,
                                double video_duration_s) {
  if (!(max_rate_hz >= 1000.0)) {
    max_rate_hz = 1000.0;  // below this no loose could be heard
  }
  Libav<AVFormatContext> format;
  try {
    format = open_container(path);
  } catch (const UnreadableClip&) {
    return std::nullopt;  // the file has gone since the clip was opened
  }
  const int index = av_find_best_stream(format.get(), AVMEDIA_TYPE_AUDIO, -1, -1, nullptr, 0);
  if (index < 0) {
    return std::nullopt;
  }
  for (unsigned i = 0; i < format->nb_streams; ++i) {
    format->streams[i]->discard = static_cast<int>(i) == index ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
  }
  const AVStream& stream = *format->streams[index];
  const Libav<AVCodecContext> decoder = open_decoder(stream, 1, 1, false);
  const Libav<AVFrame> frame(av_frame_alloc());
  const Libav<AVPacket> packet(av_packet_alloc());
  if (frame == nullptr || packet == nullptr) {
    throw std::bad_alloc();
  }
  if (decoder == nullptr || stream.codecpar->sample_rate > kMostRate_hz) {
    return std::nullopt;
  }
  Mixer mixer(max_rate_hz, std::min(2.0 * video_duration_s + 60.0, kLongest_s));
  bool more = true;
  while (more && av_read_frame(format.get(), packet.get()) >= 0) {
    if (packet->stream_index == index && avcodec_send_packet(decoder.get(), packet.get()) >= 0) {
      more = drain(*decoder, *frame, stream.time_base, mixer);
    }
    av_packet_unref(packet.get());
  }
  if (more && avcodec_send_packet(decoder.get(), nullptr) >= 0) {
    drain(*decoder, *frame, stream.time_base, mixer);
  }
  return mixer.finish();
}

}  // namespace nocktrail::media
