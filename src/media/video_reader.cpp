#include "video_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <new>

#include "container.hpp"

namespace nocktrail::media {
namespace {

// So many undecodable packets in a row mean that nothing will come any more.
constexpr int kMostFailures = 1000;

}  // namespace

VideoReader::VideoReader(ReaderSettings settings, Libav<AVFormatContext> format,
                         const FrameTable& table)
    : settings_(std::move(settings)),
      format_(std::move(format)),
      table_(table),
      frame_(av_frame_alloc()),
      packet_(av_packet_alloc()) {
  if (frame_ == nullptr || packet_ == nullptr) {
    throw std::bad_alloc();
  }
}

std::size_t VideoReader::key_for(long target) const {
  // Frames shown after a key frame never need anything before it (closed and open groups alike).
  const std::int64_t pts = table_.pts[static_cast<std::size_t>(target)];
  const auto after = std::upper_bound(
      table_.keys.begin(), table_.keys.end(), pts,
      [](std::int64_t time_stamp, const FrameTable::Key& key) { return time_stamp < key.pts; });
  return after == table_.keys.begin() ? 0
                                      : static_cast<std::size_t>(after - table_.keys.begin()) - 1;
}

void VideoReader::seek(long target, bool fast) {
  broken_.clear();
  target_ = std::max(target, 0L);
  if (target_ >= static_cast<long>(table_.pts.size())) {
    ended_ = true;
    started_ = false;
    return;
  }
  const bool ahead =
      started_ && !ended_ && (any_accepted_ || holding_) && fast == fast_ && target_ >= expected_;
  if (ahead &&
      (table_.keys.empty() || table_.at_or_after(table_.keys[key_for(target_)].pts) <= expected_)) {
    return;  // no key frame lies between here and there: reading on is the shortest way
  }
  if (fast != fast_) {
    decoder_.reset();  // the shortcuts are fixed when a decoder is opened
  }
  fast_ = fast;
  step_back_ = 1;
  key_ = table_.keys.empty() ? 0 : key_for(target_);
  start_for_target();
}

void VideoReader::rest() {
  decoder_.reset();
  started_ = false;
  holding_ = false;
}

void VideoReader::start_for_target() {
  while (key_ > 0 && !start_at_key(key_)) {
    key_ = key_ > step_back_ ? key_ - step_back_ : 0;
    step_back_ *= 2;
  }
  if (key_ == 0 && !start_at_beginning()) {
    give_up("the file can no longer be read");
  }
}

bool VideoReader::retry_earlier() {
  if (from_beginning_) {
    return false;
  }
  target_ = std::max(target_, expected_);  // not again what has been given out already
  key_ = key_ > step_back_ ? key_ - step_back_ : 0;
  step_back_ *= 2;
  start_for_target();
  return !ended_;
}

bool VideoReader::renew_decoder() {
  if (decoder_ == nullptr) {
    decoder_ = open_decoder(*format_->streams[settings_.stream], settings_.threads,
                            settings_.max_side_px, fast_);
  } else {
    avcodec_flush_buffers(decoder_.get());
  }
  av_packet_unref(packet_.get());
  holding_ = false;
  started_ = decoder_ != nullptr;
  ended_ = false;
  draining_ = false;
  any_accepted_ = false;
  pending_error_ = false;
  failures_ = 0;
  return started_;
}

bool VideoReader::start_at_key(std::size_t key) {
  from_beginning_ = false;
  const FrameTable::Key& position = table_.keys[key];
  if (av_seek_frame(format_.get(), settings_.stream, position.pts, AVSEEK_FLAG_BACKWARD) < 0 ||
      !renew_decoder()) {
    return false;
  }
  expected_ = table_.at_or_after(position.pts);
  // Containers differ in whether they seek by decoding or by presentation time; landing too late
  // would lose frames, landing early only costs time.
  return read_packet() && packet_->pts != AV_NOPTS_VALUE && packet_->pts <= position.pts;
}

bool VideoReader::start_at_beginning() {
  from_beginning_ = true;
  expected_ = 0;
  const FrameTable::Key& first = table_.first_packet;
  const bool sought =
      !table_.keys.empty() &&
      av_seek_frame(format_.get(), settings_.stream, std::min(first.pts, table_.keys.front().pts),
                    AVSEEK_FLAG_BACKWARD) >= 0 &&
      renew_decoder() && read_packet() && packet_->pts == first.pts && packet_->dts == first.dts;
  if (sought) {
    return true;
  }
  // Opening afresh is the one way back to the first packet that holds for every container.
  decoder_.reset();
  format_ = open_container(settings_.path);
  if (settings_.stream >= static_cast<int>(format_->nb_streams)) {
    return false;
  }
  for (unsigned i = 0; i < format_->nb_streams; ++i) {
    format_->streams[i]->discard =
        static_cast<int>(i) == settings_.stream ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
  }
  return renew_decoder();
}

// The stream's next packet; false at the end of what can be read.
bool VideoReader::read_packet() {
  do {
    av_packet_unref(packet_.get());
    if (av_read_frame(format_.get(), packet_.get()) < 0) {
      return false;
    }
    // An empty packet would be taken for the end of the stream.
  } while (packet_->stream_index != settings_.stream || packet_->size == 0);
  // A packet reaching past the end of the file is where the frame table stopped, too.
  return (packet_->flags & AV_PKT_FLAG_CORRUPT) == 0;
}

// Gives the decoder one packet. Returns the library's status, 0 at the end of the file.
int VideoReader::feed() {
  if (draining_) {
    return AVERROR_EOF;
  }
  // A packet is waiting when it was read to check where a seek landed, or was not taken last time.
  if (packet_->size == 0 && !read_packet()) {
    av_packet_unref(packet_.get());
    draining_ = true;
    return avcodec_send_packet(decoder_.get(), nullptr);
  }
  decoder_->skip_frame = in_run_up(packet_->pts) ? AVDISCARD_NONREF : AVDISCARD_DEFAULT;
  const int status = avcodec_send_packet(decoder_.get(), packet_.get());
  if (status != AVERROR(EAGAIN)) {
    av_packet_unref(packet_.get());
  }
  return status;
}

// After trouble every frame is decoded.
bool VideoReader::in_run_up(std::int64_t pts) const {
  return !from_beginning_ && step_back_ == 1 && pts != AV_NOPTS_VALUE &&
         target_ < static_cast<long>(table_.pts.size()) &&
         pts < table_.pts[static_cast<std::size_t>(target_)];
}

VideoReader::Pull VideoReader::pull() {
  if (holding_) {
    holding_ = false;
    return Pull::frame;
  }
  while (true) {
    int status = avcodec_receive_frame(decoder_.get(), frame_.get());
    if (status == 0) {
      return Pull::frame;
    }
    if (status == AVERROR_EOF) {
      return Pull::end;
    }
    if (status != AVERROR(EAGAIN)) {
      return Pull::failed;
    }
    status = feed();
    if (status == AVERROR_EOF) {
      return Pull::end;
    }
    if (status < 0 && status != AVERROR(EAGAIN)) {
      return Pull::failed;
    }
  }
}

const AVFrame* VideoReader::give_up(const std::string& why) {
  broken_ = why;
  ended_ = true;
  return nullptr;
}

std::int64_t VideoReader::first_decodable_pts() {
  if (!start_at_beginning()) {
    return AV_NOPTS_VALUE;
  }
  std::int64_t found = AV_NOPTS_VALUE;
  while (found == AV_NOPTS_VALUE) {
    const Pull pulled = pull();
    if (pulled == Pull::end || (pulled == Pull::failed && ++failures_ > kMostFailures)) {
      break;
    }
    if (pulled == Pull::frame && table_.find(frame_->pts) >= 0) {
      found = frame_->pts;
    }
  }
  holding_ = found != AV_NOPTS_VALUE;
  return found;
}

const AVFrame* VideoReader::next(long& index) {
  while (!ended_) {
    const Pull pulled = pull();
    std::string trouble;
    if (pulled == Pull::failed) {
      if (!any_accepted_ && ++failures_ <= kMostFailures) {
        pending_error_ = true;
        continue;
      }
      trouble = fmt::format("the picture data is damaged at frame {}", expected_);
    } else if (pulled == Pull::end) {
      const long missing = static_cast<long>(table_.pts.size()) - expected_;
      if (missing == 0) {
        if (table_.cut_short) {
          return give_up(fmt::format(
              "the file was cut short: it ends after frame {}, before its end by its own account",
              expected_ - 1));
        }
        ended_ = true;
        return nullptr;
      }
      trouble = fmt::format("the last {} frames cannot be decoded", missing);
    } else {
      index = table_.find(frame_->pts);
      if (index < expected_) {
        continue;  // cut away by the edit list, or a leading frame of an open group
      }
      const bool run_up = in_run_up(table_.pts[static_cast<std::size_t>(expected_)]);
      const bool gap = index > (run_up ? target_ : expected_);
      if ((frame_->flags & AV_FRAME_FLAG_CORRUPT) != 0 || frame_->decode_error_flags != 0) {
        trouble = fmt::format("the picture data is damaged at frame {}", index);
      } else if (gap && (pending_error_ || !from_beginning_)) {
        trouble = fmt::format("frame {} cannot be decoded", expected_);
      } else {
        // A gap from the beginning on and without complaint: a frame its maker chose not to show.
        expected_ = index + 1;
        any_accepted_ = true;
        pending_error_ = false;
        if (index >= target_) {
          return frame_.get();
        }
        continue;
      }
    }
    if (!retry_earlier()) {
      return broken_.empty() ? give_up(trouble) : nullptr;
    }
  }
  return nullptr;
}

}  // namespace nocktrail::media
