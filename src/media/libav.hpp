// Owning handles for the libav* structures, and nothing else. Private to this room.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavformat/avio.h>
#include <libavutil/avstring.h>
#include <libavutil/avutil.h>
#include <libavutil/dict.h>
#include <libavutil/display.h>
#include <libavutil/mem.h>
#include <libavutil/pixdesc.h>
#include <libswresample/swresample.h>
#include <libswscale/swscale.h>
}

#include <memory>

namespace nocktrail::media {

struct LibavDeleter {
  void operator()(AVFormatContext* p) const { avformat_close_input(&p); }
  void operator()(AVCodecContext* p) const { avcodec_free_context(&p); }
  void operator()(AVIOContext* p) const { avio_closep(&p); }
  void operator()(AVFrame* p) const { av_frame_free(&p); }
  void operator()(AVPacket* p) const { av_packet_free(&p); }
  void operator()(AVDictionary* p) const { av_dict_free(&p); }
  void operator()(SwrContext* p) const { swr_free(&p); }
  void operator()(SwsContext* p) const { sws_freeContext(p); }
};

template <typename T>
using Libav = std::unique_ptr<T, LibavDeleter>;

}  // namespace nocktrail::media
