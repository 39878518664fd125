#include "container.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"

extern "C" {
#include <libavutil/parseutils.h>
}

namespace nocktrail::media {

std::optional<std::time_t> filmed_at(const std::filesystem::path& path) {
  // A phone whose clock was never set writes the container's own year naught, 1904, or 1970.
  constexpr std::int64_t kYear2000_s = 946684800;
  constexpr std::int64_t kYear10000_s = 253402300800;  // ISO 8601 has four figures for a year
  try {
    const Libav<AVFormatContext> format = open_headers(path);
    std::vector<const AVDictionary*> tags{format->metadata};
    for (unsigned i = 0; i < format->nb_streams; ++i) {
      tags.push_back(format->streams[i]->metadata);
    }
    for (const AVDictionary* tag : tags) {
      const AVDictionaryEntry* entry = av_dict_get(tag, "creation_time", nullptr, 0);
      std::int64_t microseconds = 0;
      if (entry == nullptr || av_parse_time(&microseconds, entry->value, 0) < 0) {
        continue;
      }
      const std::int64_t seconds = microseconds / 1000000;
      if (seconds >= kYear2000_s && seconds < kYear10000_s) {
        return static_cast<std::time_t>(seconds);
      }
    }
  } catch (const UnreadableClip&) {
  }
  return std::nullopt;
}

}  // namespace nocktrail::media
