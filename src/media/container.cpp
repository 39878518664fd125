#include "container.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/media/film.hpp"

namespace nocktrail::media {
namespace {

constexpr const char* kCopyAgain =
    "copy the original from the phone again and check that it plays there";

// libav's own log lines mean nothing to an archer. The level is the library's one process-wide
// setting; it is set once, before the first use.
void silence_library() {
  static const bool done = [] {
    av_log_set_level(AV_LOG_QUIET);
    return true;
  }();
  static_cast<void>(done);
}

[[noreturn]] void refuse(const std::filesystem::path& path, std::string_view what,
                         std::string_view advice) {
  throw UnreadableClip(fmt::format("{}: {}; {}", printable(path), what, advice));
}

bool is_video_container(const AVInputFormat& format) {
  static constexpr std::array kNames = {"mov", "matroska", "avi", "mpegts", "mpeg",
                                        "flv", "asf",      "ogg", "nut"};
  return std::any_of(kNames.begin(), kNames.end(),
                     [&](const char* name) { return av_match_name(name, format.name) != 0; });
}

bool is_still_picture(const AVInputFormat& format) {
  const std::string_view name = format.name;
  return name == "image2" || name == "gif" || name == "apng" || name == "ico" ||
         name.ends_with("_pipe");
}

const AVInputFormat& probe(const std::filesystem::path& path, const std::string& url) {
  AVIOContext* raw = nullptr;
  if (avio_open2(&raw, url.c_str(), AVIO_FLAG_READ, nullptr, nullptr) < 0) {
    refuse(path, "cannot be opened", "check that the file is readable");
  }
  const Libav<AVIOContext> io(raw);
  const AVInputFormat* format = nullptr;
  // No name is passed: what a file is called says nothing about what it is.
  av_probe_input_buffer2(io.get(), &format, "", nullptr, 0, 0);
  if (format != nullptr && is_still_picture(*format)) {
    refuse(path, "is a still picture, not a clip", "give the slow-motion video itself");
  }
  if (format == nullptr || !is_video_container(*format)) {
    refuse(path, "is not a video file", "give the phone's own mp4, mov, mkv or webm file");
  }
  return *format;
}

struct Candidate {
  int stream = 0;
  bool is_default = false;
  double area_px = 0.0;
  double duration_s = 0.0;
};

}  // namespace

std::string printable(const std::filesystem::path& path) {
  std::string name = path.string();
  for (char& c : name) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      c = '?';
    }
  }
  return name;
}

void require_readable_file(const std::filesystem::path& path) {
  namespace fs = std::filesystem;
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  if (error == std::errc::permission_denied) {
    refuse(path, "may not be read (permission denied)", "make it readable for your account");
  }
  if (!fs::exists(status)) {
    refuse(path, "there is no such file", "check the path and the spelling");
  }
  if (fs::is_directory(status)) {
    refuse(path, "is a folder, not a clip",
           "name the clips in it, or have all of them read: nocktrail session FOLDER");
  }
  if (!fs::is_regular_file(status)) {
    refuse(path, "is not an ordinary file", "save the clip to disk and give that file");
  }
  if (::access(path.c_str(), R_OK) != 0) {
    if (errno == EACCES) {
      refuse(path, "may not be read (permission denied)", "make it readable for your account");
    }
    refuse(path, "cannot be opened", "check the disk it is on");
  }
  if (fs::file_size(path, error) == 0 || error) {
    refuse(path, "is empty", kCopyAgain);
  }
}

Libav<AVFormatContext> open_headers(const std::filesystem::path& path) {
  silence_library();
  require_readable_file(path);
  // The prefix keeps a name such as "concat:a" a name.
  const std::string url = "file:" + path.string();
  const AVInputFormat& input = probe(path, url);

  AVDictionary* options = nullptr;
  av_dict_set(&options, "protocol_whitelist", "file", 0);
  AVFormatContext* raw = nullptr;
  const int opened = avformat_open_input(&raw, url.c_str(), &input, &options);
  const Libav<AVDictionary> unused_options(options);
  Libav<AVFormatContext> format(raw);
  if (opened < 0) {
    refuse(path, "is damaged or was cut short while copying (its table of contents is missing)",
           kCopyAgain);
  }
  return format;
}

Libav<AVFormatContext> open_container(const std::filesystem::path& path) {
  Libav<AVFormatContext> format = open_headers(path);
  // Lines are drawn over its arrow, and it plays in no time that was ever real.
  const AVDictionaryEntry* comment = av_dict_get(format->metadata, "comment", nullptr, 0);
  if (comment != nullptr && std::string_view(comment->value).starts_with(kFilmMark)) {
    refuse(path, "is a replay that nocktrail made, not a clip", "give the clip that it shows");
  }
  if (avformat_find_stream_info(format.get(), nullptr) < 0) {
    refuse(path, "is damaged: its tracks cannot be read", kCopyAgain);
  }
  return format;
}

int choose_video_stream(const AVFormatContext& format, const std::filesystem::path& path) {
  constexpr int kNotVideo =
      AV_DISPOSITION_ATTACHED_PIC | AV_DISPOSITION_TIMED_THUMBNAILS | AV_DISPOSITION_STILL_IMAGE;
  std::vector<Candidate> candidates;
  bool any_video = false;
  for (unsigned i = 0; i < format.nb_streams; ++i) {
    const AVStream& stream = *format.streams[i];
    const AVCodecParameters& codec = *stream.codecpar;
    if (codec.codec_type != AVMEDIA_TYPE_VIDEO || (stream.disposition & kNotVideo) != 0) {
      continue;
    }
    any_video = true;
    if (codec.width <= 0 || codec.height <= 0 || avcodec_find_decoder(codec.codec_id) == nullptr) {
      continue;
    }
    Candidate& candidate = candidates.emplace_back();
    candidate.stream = static_cast<int>(i);
    candidate.is_default = (stream.disposition & AV_DISPOSITION_DEFAULT) != 0;
    candidate.area_px = double{1} * codec.width * codec.height;
    if (stream.duration != AV_NOPTS_VALUE) {
      candidate.duration_s = static_cast<double>(stream.duration) * av_q2d(stream.time_base);
    } else if (format.duration != AV_NOPTS_VALUE) {
      candidate.duration_s = static_cast<double>(format.duration) / AV_TIME_BASE;
    }
  }
  if (candidates.empty()) {
    if (any_video) {
      refuse(path, "its video track has no picture that can be decoded", kCopyAgain);
    }
    refuse(path, "holds no video track", "give the video, not a sound recording or a picture");
  }

  const auto keep = [&](auto member, double share) {
    double largest = 0.0;
    for (const Candidate& c : candidates) {
      largest = std::max(largest, c.*member);
    }
    std::erase_if(candidates, [&](const Candidate& c) { return c.*member < share * largest; });
  };
  keep(&Candidate::area_px, 1.0 / 16.0);  // thumbnail tracks are far smaller than the video
  keep(&Candidate::duration_s, 0.5);      // a motion photo's track of a few large stills is shorter
  return std::max_element(candidates.begin(), candidates.end(),
                          [](const Candidate& a, const Candidate& b) {
                            return a.is_default != b.is_default ? b.is_default
                                                                : a.area_px < b.area_px;
                          })
      ->stream;
}

std::optional<double> number_tag(const AVFormatContext& format, int stream, const char* key) {
  for (const AVDictionary* tags : {format.streams[stream]->metadata, format.metadata}) {
    const AVDictionaryEntry* entry = av_dict_get(tags, key, nullptr, 0);
    if (entry == nullptr) {
      continue;
    }
    double value = 0.0;
    const char* end = entry->value + std::strlen(entry->value);
    if (std::from_chars(entry->value, end, value).ec == std::errc{} && std::isfinite(value) &&
        value > 0.0) {
      return value;
    }
  }
  return std::nullopt;
}

Libav<AVCodecContext> open_decoder(const AVStream& stream, int threads, int max_side_px,
                                   bool fast) {
  const AVCodec* codec = avcodec_find_decoder(stream.codecpar->codec_id);
  if (codec == nullptr) {
    return nullptr;
  }
  Libav<AVCodecContext> context(avcodec_alloc_context3(codec));
  if (context == nullptr || avcodec_parameters_to_context(context.get(), stream.codecpar) < 0) {
    return nullptr;
  }
  context->pkt_timebase = stream.time_base;
  context->thread_count = threads;
  context->thread_type = FF_THREAD_FRAME | FF_THREAD_SLICE;
  context->max_pixels = std::int64_t{max_side_px} * max_side_px;
  if (fast) {
    context->skip_loop_filter = AVDISCARD_ALL;
    context->flags2 |= AV_CODEC_FLAG2_FAST;
  }
  if (avcodec_open2(context.get(), codec, nullptr) < 0) {
    return nullptr;
  }
  return context;
}

}  // namespace nocktrail::media
