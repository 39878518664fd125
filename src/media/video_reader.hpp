// Decoding with exact positions: frames are told apart by their presentation time stamps.
#pragma once

#include <filesystem>
#include <string>

#include "frame_table.hpp"
#include "libav.hpp"

namespace nocktrail::media {

struct ReaderSettings {
  std::filesystem::path path;
  int stream = 0;
  int threads = 0;
  int max_side_px = 0;
};

class VideoReader {
 public:
  // The container's position does not matter. `table` must outlive the reader.
  VideoReader(ReaderSettings settings, Libav<AVFormatContext> format, const FrameTable& table);

  // The next frame delivered is the first one at or after `target`.
  void seek(long target, bool fast);

  // Closes the decoder; a seek opens it again.
  void rest();

  // nullptr at the end, or where the stream breaks. Valid until the next call. `index` is set.
  const AVFrame* next(long& index);

  const std::string& broken() const { return broken_; }

  // The presentation time stamp of the first frame that comes out of the decoder when it starts at
  // the beginning and that the table knows; AV_NOPTS_VALUE when none does. The reader then stands
  // at that frame; the caller may take earlier ones out of the table.
  std::int64_t first_decodable_pts();

 private:
  enum class Pull { frame, failed, end };

  bool start_at_key(std::size_t key);
  bool start_at_beginning();
  bool renew_decoder();
  void start_for_target();
  // After trouble: starts once more, further back. A decoder that starts in the middle may need
  // some frames until it knows the stream's order, and then drops some; the beginning is always
  // right.
  bool retry_earlier();
  Pull pull();
  bool read_packet();
  int feed();
  // Whether a frame is decoded only for the sake of later ones, so that one that no other needs can
  // be left out.
  bool in_run_up(std::int64_t pts) const;
  const AVFrame* give_up(const std::string& why);
  std::size_t key_for(long target) const;

  ReaderSettings settings_;
  Libav<AVFormatContext> format_;
  const FrameTable& table_;
  Libav<AVCodecContext> decoder_;
  Libav<AVFrame> frame_;
  Libav<AVPacket> packet_;

  bool fast_ = false;
  bool started_ = false;
  bool ended_ = false;
  bool draining_ = false;
  bool holding_ = false;  // frame_ holds a frame that pull() has yet to give

  long target_ = 0;
  std::size_t key_ = 0;        // where decoding started
  std::size_t step_back_ = 1;  // how many keys further back the next attempt starts
  bool from_beginning_ = false;
  long expected_ = 0;           // the frame that a sound stream gives next
  bool any_accepted_ = false;   // a frame at or after the starting key has come out
  bool pending_error_ = false;  // an error before any_accepted_: harmless if it was a leading frame
  int failures_ = 0;            // since decoding was started, without one good frame
  std::string broken_;
};

}  // namespace nocktrail::media
