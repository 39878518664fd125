// From decoded planes of whatever format to 8-bit grey in display orientation.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "libav.hpp"
#include "nocktrail/media/clip.hpp"

namespace nocktrail::media {

// The signal (0 .. 1) of Recommendation ITU-R BT.2100 PQ as the HLG signal of a 1000 cd/m2 display
// showing the same luminance, which is close to an ordinary grey scale: 203 cd/m2, the reference
// white of ITU-R BT.2408, is PQ 0.58 and comes out at 0.75. Above 0.9 the highlights are rolled
// off so that 10 000 cd/m2 reaches 1 and nothing clips. Monotonic.
double hlg_from_pq(double pq_signal);

// What grey each stored luma code becomes. Eight bits pass unchanged (limited range stays limited);
// deeper codes are rounded to eight bits; PQ is folded by hlg_from_pq first. HLG is passed like an
// ordinary signal: its lower half is a camera gamma and its upper half compresses the highlights,
// which is just what a grey without clipping needs.
std::vector<std::uint8_t> grey_table(int bits, bool pq, bool full_range);

inline bool is_hdr(AVColorTransferCharacteristic transfer) {
  return transfer == AVCOL_TRC_ARIB_STD_B67 || transfer == AVCOL_TRC_SMPTE2084;
}

// Holds the scratch pictures and tables so that nothing is allocated per frame.
class GreyMaker {
 public:
  // Luma, averaged over shrink x shrink blocks aligned with the displayed top left corner (an
  // incomplete last row or column of blocks is left out).
  void luma(const AVFrame& frame, const Orientation& orientation, int shrink, cv::Mat& display);

  // Both chroma planes at ceil(width / 2) x ceil(height / 2), 8 bits, 128 = neutral.
  void chroma(const AVFrame& frame, const Orientation& orientation, cv::Mat& display_u,
              cv::Mat& display_v);

 private:
  const AVFrame& planar_yuv(const AVFrame& frame);
  const std::vector<std::uint8_t>& table_for(const AVFrame& frame, int bits);

  Libav<AVFrame> converted_;
  Libav<SwsContext> converter_;
  cv::Mat small_;
  cv::Mat eight_bit_;
  std::vector<std::uint8_t> table_;
  int table_bits_ = 0;
  bool table_pq_ = false;
  bool table_full_range_ = false;
};

}  // namespace nocktrail::media
