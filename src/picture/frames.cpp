#include "nocktrail/picture/frames.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "nocktrail/error.hpp"

namespace nocktrail::picture {

cv::Mat bgr_from_frame(const media::Frame& frame) {
  // Kr = 0.2126, Kb = 0.0722 (BT.709); 219 and 224 are the limited ranges of luma and chroma.
  constexpr double kRed = 0.2126;
  constexpr double kBlue = 0.0722;
  constexpr double kGreen = 1.0 - kRed - kBlue;
  constexpr double kLumaGain = 255.0 / 219.0;
  constexpr double kChromaGain = 255.0 / 224.0;
  const double red_from_v = 2.0 * (1.0 - kRed) * kChromaGain;
  const double blue_from_u = 2.0 * (1.0 - kBlue) * kChromaGain;
  const double green_from_u = -blue_from_u * kBlue / kGreen;
  const double green_from_v = -red_from_v * kRed / kGreen;

  cv::Mat luma;
  frame.luma.convertTo(luma, CV_32F, kLumaGain, -16.0 * kLumaGain);
  // Three matrices of their own: assigning a sum to one that shares luma's pixels would write
  // there.
  cv::Mat blue = luma.clone();
  cv::Mat green = luma.clone();
  cv::Mat red = luma.clone();
  if (!frame.chroma_u.empty() && !frame.chroma_v.empty()) {
    cv::Mat u;
    cv::Mat v;
    cv::resize(frame.chroma_u, u, frame.luma.size(), 0.0, 0.0, cv::INTER_LINEAR);
    cv::resize(frame.chroma_v, v, frame.luma.size(), 0.0, 0.0, cv::INTER_LINEAR);
    u.convertTo(u, CV_32F, 1.0, -128.0);
    v.convertTo(v, CV_32F, 1.0, -128.0);
    blue += blue_from_u * u;
    green += green_from_u * u + green_from_v * v;
    red += red_from_v * v;
  }
  cv::Mat bgr;
  cv::merge(std::vector<cv::Mat>{blue, green, red}, bgr);
  bgr.convertTo(bgr, CV_8U);
  return bgr;
}

FrameFetcher frames_of(const std::filesystem::path& path) {
  return [path](const std::vector<long>& indices) {
    std::map<long, cv::Mat> frames;
    if (indices.empty()) {
      return frames;
    }
    std::vector<long> wanted = indices;
    std::sort(wanted.begin(), wanted.end());
    wanted.erase(std::unique(wanted.begin(), wanted.end()), wanted.end());
    // A gap longer than this is cheaper to seek over than to decode through.
    constexpr long kSeekGap = 60;
    const media::ReadOptions read{.chroma = true, .shrink = 1, .fast = false};
    try {
      media::Clip clip = media::Clip::open(path);
      media::Frame frame;
      long next_index = -1;
      for (const long index : wanted) {
        if (next_index < 0 || index - next_index > kSeekGap) {
          clip.seek(index, read);
        }
        bool delivered = false;
        do {
          delivered = clip.next(frame);
        } while (delivered && frame.index < index);
        if (!delivered) {
          break;
        }
        next_index = frame.index + 1;
        if (frame.index == index) {
          frames[index] = bgr_from_frame(frame);
        }
      }
    } catch (const BadInput&) {
      // Gone or broken since it was read: the still is drawn from the frames that came.
    }
    return frames;
  };
}

}  // namespace nocktrail::picture
