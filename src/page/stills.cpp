#include "stills.hpp"

extern "C" {
#include <libavutil/base64.h>
}

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "nocktrail/media/image_file.hpp"

namespace nocktrail::page {
namespace {

struct Size {
  int width_px;
  int quality;  // of JPEG, 0..100
};
// From good on a large screen down to what can still be read on a phone.
constexpr std::array<Size, 5> kSizes{{{800, 80}, {720, 72}, {640, 66}, {560, 60}, {480, 50}}};

std::string base64(const std::string& bytes) {
  std::string text(AV_BASE64_SIZE(bytes.size()), '\0');
  if (av_base64_encode(text.data(), static_cast<int>(text.size()),
                       reinterpret_cast<const unsigned char*>(bytes.data()),
                       static_cast<int>(bytes.size())) == nullptr) {
    return {};
  }
  text.resize(text.find('\0'));
  return text;
}

EmbeddedStill embedded(const cv::Mat& picture, const Size& size) {
  cv::Mat small = picture;
  if (picture.cols > size.width_px) {
    const double scale = static_cast<double>(size.width_px) / picture.cols;
    const int height = std::max(1, static_cast<int>(std::lround(scale * picture.rows)));
    cv::resize(picture, small, cv::Size(size.width_px, height), 0, 0, cv::INTER_AREA);
  }
  return {"data:image/jpeg;base64," + base64(media::jpeg_bytes(small, size.quality)), small.cols,
          small.rows};
}

cv::Mat picture_in(const std::filesystem::path& file) {
  std::error_code error;
  // No link is followed: the folder may have come from somebody else.
  return std::filesystem::is_regular_file(std::filesystem::symlink_status(file, error))
             ? media::read_png(file)
             : cv::Mat();
}

}  // namespace

EmbeddedStills embedded_stills(const std::vector<std::filesystem::path>& files,
                               std::size_t most_bytes) {
  EmbeddedStills result;
  std::size_t room = most_bytes;
  std::size_t to_come = files.size();
  for (const std::filesystem::path& file : files) {
    // What earlier ones did not use is there for later ones.
    const std::size_t share = room / std::max<std::size_t>(to_come, 1);
    --to_come;
    EmbeddedStill& still = result.by_file[file];
    if (!still.data_uri.empty()) {
      continue;
    }
    const cv::Mat picture = picture_in(file);
    if (picture.empty()) {
      continue;
    }
    for (const Size& size : kSizes) {
      still = embedded(picture, size);
      if (still.data_uri.size() <= share) {
        break;
      }
    }
    if (still.data_uri.size() > room) {
      still = {};
      ++result.left_out;
    }
    room -= still.data_uri.size();
  }
  return result;
}

}  // namespace nocktrail::page
