#include "grey.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "orientation.hpp"

namespace nocktrail::media {
namespace {

// ITU-R BT.2100 table 5 (HLG OETF), continued above 1.
double hlg_oetf(double scene) {
  constexpr double a = 0.17883277;
  constexpr double b = 0.28466892;
  constexpr double c = 0.55991073;
  return scene <= 1.0 / 12.0 ? std::sqrt(3.0 * scene) : a * std::log(12.0 * scene - b) + c;
}

// ITU-R BT.2100 table 4 (PQ EOTF), cd/m2.
double pq_eotf(double signal) {
  constexpr double m1 = 2610.0 / 16384.0;
  constexpr double m2 = 2523.0 / 4096.0 * 128.0;
  constexpr double c1 = 3424.0 / 4096.0;
  constexpr double c2 = 2413.0 / 4096.0 * 32.0;
  constexpr double c3 = 2392.0 / 4096.0 * 32.0;
  const double root = std::pow(std::clamp(signal, 0.0, 1.0), 1.0 / m2);
  return 10000.0 * std::pow(std::max(root - c1, 0.0) / (c2 - c3 * root), 1.0 / m1);
}

// HLG OOTF of a 1000 cd/m2 display undone: gamma 1.2.
double hlg_signal(double luminance_cd_m2) {
  return hlg_oetf(std::pow(luminance_cd_m2 / 1000.0, 1.0 / 1.2));
}

// Whether the planes can be read as they are: planar luma and chroma of 8 to 16 bits.
bool readable_planes(const AVFrame& frame) {
  const AVPixFmtDescriptor* format = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(frame.format));
  constexpr std::uint64_t kOther = AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_BE | AV_PIX_FMT_FLAG_PAL |
                                   AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_HWACCEL |
                                   AV_PIX_FMT_FLAG_FLOAT | AV_PIX_FMT_FLAG_ALPHA;
  if (format == nullptr || (format->flags & kOther) != 0 || format->log2_chroma_w > 1 ||
      format->log2_chroma_h > 1) {
    return false;
  }
  if (format->nb_components != 1 && format->nb_components != 3) {
    return false;
  }
  const int depth = format->comp[0].depth;
  if (depth < 8 || depth > 16) {
    return false;
  }
  for (int i = 0; i < format->nb_components; ++i) {
    const AVComponentDescriptor& component = format->comp[i];
    if (component.plane != i || component.offset != 0 || component.shift != 0 ||
        component.depth != depth || component.step != (depth > 8 ? 2 : 1) ||
        frame.linesize[i] <= 0) {
      return false;
    }
  }
  return true;
}

struct Planes {
  int bits = 8;
  cv::Mat y, u, v;  // views of the frame's own memory, CV_8UC1 or CV_16UC1; u, v empty for grey
};

Planes view(const AVFrame& frame) {
  const AVPixFmtDescriptor& format = *av_pix_fmt_desc_get(static_cast<AVPixelFormat>(frame.format));
  const int type = format.comp[0].depth > 8 ? CV_16UC1 : CV_8UC1;
  const auto plane = [&](int i, int width, int height) {
    return cv::Mat(height, width, type, frame.data[i], static_cast<std::size_t>(frame.linesize[i]));
  };
  Planes planes;
  planes.bits = format.comp[0].depth;
  planes.y = plane(0, frame.width, frame.height);
  if (format.nb_components == 3) {
    const int width = AV_CEIL_RSHIFT(frame.width, format.log2_chroma_w);
    const int height = AV_CEIL_RSHIFT(frame.height, format.log2_chroma_h);
    planes.u = plane(1, width, height);
    planes.v = plane(2, width, height);
  }
  return planes;
}

// Block averages, rounded. cv::resize gives the same but takes three times as long at the sizes
// that a scan of a whole clip needs; this runs at the speed of memory.
template <int kBlock, typename Code, typename Sum>
void average_blocks(const cv::Mat& in, cv::Mat& out) {
  out.create(in.rows / kBlock, in.cols / kBlock, cv::DataType<Code>::type);
  std::vector<Sum> column_sums(static_cast<std::size_t>(in.cols));
  std::array<const Code*, kBlock> rows{};
  for (int y = 0; y < out.rows; ++y) {
    for (int r = 0; r < kBlock; ++r) {
      rows[static_cast<std::size_t>(r)] = in.ptr<Code>(y * kBlock + r);
    }
    for (std::size_t x = 0; x < column_sums.size(); ++x) {
      Sum sum = 0;
      for (const Code* row : rows) {
        sum = static_cast<Sum>(sum + row[x]);
      }
      column_sums[x] = sum;
    }
    Code* averages = out.ptr<Code>(y);
    const Sum* sums = column_sums.data();
    for (int x = 0; x < out.cols; ++x, sums += kBlock) {
      const auto total = std::accumulate(sums, sums + kBlock, std::uint32_t{kBlock * kBlock / 2});
      averages[x] = static_cast<Code>(total / (kBlock * kBlock));
    }
  }
}

template <int kBlock>
void average_blocks(const cv::Mat& in, cv::Mat& out) {
  if (in.depth() == CV_8U) {
    average_blocks<kBlock, std::uint8_t, std::uint16_t>(in, out);
  } else {
    average_blocks<kBlock, std::uint16_t, std::uint32_t>(in, out);
  }
}

void average_blocks(const cv::Mat& in, int block, cv::Mat& out) {
  switch (block) {
    case 2:
      return average_blocks<2>(in, out);
    case 4:
      return average_blocks<4>(in, out);
    case 8:
      return average_blocks<8>(in, out);
    case 16:
      return average_blocks<16>(in, out);
    default:
      throw std::invalid_argument("ReadOptions::shrink must be 1, 2, 4, 8 or 16");
  }
}

void look_up(const cv::Mat& deep, const std::vector<std::uint8_t>& table, cv::Mat& eight_bit) {
  eight_bit.create(deep.size(), CV_8UC1);
  // Stray bits above the stated depth would index past the table.
  const std::size_t mask = table.size() - 1;
  for (int row = 0; row < deep.rows; ++row) {
    std::uint8_t* out = eight_bit.ptr<std::uint8_t>(row);
    if (deep.depth() == CV_8U) {
      const std::uint8_t* in = deep.ptr<std::uint8_t>(row);
      std::transform(in, in + deep.cols, out, [&](std::uint8_t code) { return table[code]; });
    } else {
      const std::uint16_t* in = deep.ptr<std::uint16_t>(row);
      std::transform(in, in + deep.cols, out,
                     [&](std::uint16_t code) { return table[code & mask]; });
    }
  }
}

// The caller may have kept a header of the last picture (cv::Mat shares its pixels): then it gets a
// new one, else the memory is used again.
void do_not_overwrite_shared(cv::Mat& picture) {
  if (picture.u == nullptr || picture.u->refcount > 1) {
    picture.release();
  }
}

}  // namespace

double hlg_from_pq(double pq_signal) {
  constexpr double kKnee = 0.9;
  const double signal = hlg_signal(pq_eotf(pq_signal));
  if (signal <= kKnee) {
    return signal;
  }
  const double range = hlg_signal(10000.0) - kKnee;
  const double over = std::min((signal - kKnee) / range, 1.0);
  // This power makes the slope continuous at the knee.
  return kKnee + (1.0 - kKnee) * (1.0 - std::pow(1.0 - over, range / (1.0 - kKnee)));
}

std::vector<std::uint8_t> grey_table(int bits, bool pq, bool full_range) {
  const int codes = 1 << bits;
  const double scale = bits > 8 ? 1 << (bits - 8) : 1.0;  // codes per 8-bit step
  const double black = full_range ? 0.0 : 16.0 * scale;
  const double white = full_range ? codes - 1.0 : 235.0 * scale;
  std::vector<std::uint8_t> table(static_cast<std::size_t>(codes));
  for (int code = 0; code < codes; ++code) {
    double grey = code / scale;
    if (pq) {
      const double signal = (code - black) / (white - black);
      const double folded = signal <= 0.0 ? signal : hlg_from_pq(signal);
      grey = (full_range ? 0.0 : 16.0) + folded * (full_range ? 255.0 : 219.0);
    } else if (full_range && bits > 8) {
      grey = code * 255.0 / (codes - 1.0);
    }
    table[static_cast<std::size_t>(code)] =
        static_cast<std::uint8_t>(std::clamp(std::lround(grey), 0L, 255L));
  }
  return table;
}

const AVFrame& GreyMaker::planar_yuv(const AVFrame& frame) {
  if (readable_planes(frame)) {
    return frame;
  }
  if (converted_ == nullptr || converted_->width != frame.width ||
      converted_->height != frame.height) {
    converted_.reset(av_frame_alloc());
    if (converted_ == nullptr) {
      throw std::bad_alloc();
    }
    converted_->format = AV_PIX_FMT_YUV420P;
    converted_->width = frame.width;
    converted_->height = frame.height;
    if (av_frame_get_buffer(converted_.get(), 0) < 0) {
      throw std::bad_alloc();
    }
  }
  // Other than the handle's own release, this returns the same context while nothing changes.
  converter_.reset(sws_getCachedContext(
      converter_.release(), frame.width, frame.height, static_cast<AVPixelFormat>(frame.format),
      frame.width, frame.height, AV_PIX_FMT_YUV420P, SWS_BILINEAR, nullptr, nullptr, nullptr));
  if (converter_ == nullptr ||
      sws_scale(converter_.get(), frame.data, frame.linesize, 0, frame.height, converted_->data,
                converted_->linesize) != frame.height) {
    throw std::runtime_error("no conversion from this pixel format");
  }
  converted_->color_trc = frame.color_trc;
  converted_->color_range = frame.color_range;
  return *converted_;
}

const std::vector<std::uint8_t>& GreyMaker::table_for(const AVFrame& frame, int bits) {
  const bool pq = frame.color_trc == AVCOL_TRC_SMPTE2084;
  const bool full_range = frame.color_range == AVCOL_RANGE_JPEG;
  if (table_.empty() || bits != table_bits_ || pq != table_pq_ || full_range != table_full_range_) {
    table_ = grey_table(bits, pq, full_range);
    table_bits_ = bits;
    table_pq_ = pq;
    table_full_range_ = full_range;
  }
  return table_;
}

void GreyMaker::luma(const AVFrame& frame, const Orientation& orientation, int shrink,
                     cv::Mat& display) {
  const AVFrame& source = planar_yuv(frame);
  const Planes planes = view(source);
  cv::Mat picture = planes.y;
  if (shrink > 1) {
    const cv::Rect part = whole_blocks(picture.size(), shrink, orientation);
    if (part.empty()) {
      throw std::invalid_argument("shrink is larger than the picture");
    }
    average_blocks(picture(part), shrink, small_);
    picture = small_;
  }
  // Averaging before the table costs a fraction of the reverse and differs only across strong
  // edges in PQ.
  if (planes.bits > 8 || source.color_trc == AVCOL_TRC_SMPTE2084) {
    look_up(picture, table_for(source, planes.bits), eight_bit_);
    picture = eight_bit_;
  }
  do_not_overwrite_shared(display);
  apply_orientation(picture, orientation, display);
}

void GreyMaker::chroma(const AVFrame& frame, const Orientation& orientation, cv::Mat& display_u,
                       cv::Mat& display_v) {
  const Planes planes = view(planar_yuv(frame));
  const cv::Size half((frame.width + 1) / 2, (frame.height + 1) / 2);
  const auto deliver = [&](const cv::Mat& stored, cv::Mat& display) {
    do_not_overwrite_shared(display);
    if (stored.empty()) {
      const bool turned = swaps_sides(orientation);
      display.create(turned ? cv::Size(half.height, half.width) : half, CV_8UC1);
      display.setTo(128);
      return;
    }
    cv::Mat picture = stored;
    if (picture.size() != half) {
      cv::resize(picture, small_, half, 0.0, 0.0, cv::INTER_AREA);
      picture = small_;
    }
    if (planes.bits > 8) {
      picture.convertTo(eight_bit_, CV_8U, 1.0 / (1 << (planes.bits - 8)));
      picture = eight_bit_;
    }
    apply_orientation(picture, orientation, display);
  };
  deliver(planes.u, display_u);
  deliver(planes.v, display_v);
}

}  // namespace nocktrail::media
