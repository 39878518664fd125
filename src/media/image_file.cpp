#include "nocktrail/media/image_file.hpp"

#include <png.h>
#include <turbojpeg.h>

#include <memory>
#include <stdexcept>

#include "png_parts.hpp"

namespace nocktrail::media {

std::string png_bytes(const cv::Mat& picture) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = static_cast<png_uint_32>(picture.cols);
  image.height = static_cast<png_uint_32>(picture.rows);
  image.format = picture.type() == CV_8UC1 ? PNG_FORMAT_GRAY : PNG_FORMAT_BGR;
  image.flags = PNG_IMAGE_FLAG_FAST;  // larger files, for the sake of time
  const auto stride = static_cast<png_int_32>(picture.step[0]);
  png_alloc_size_t size = PNG_IMAGE_PNG_SIZE_MAX(image);
  const bool known = picture.type() == CV_8UC1 || picture.type() == CV_8UC3;
  std::string bytes(known ? size : 0, '\0');
  if (!known || png_image_write_to_memory(&image, bytes.data(), &size, 0, picture.data, stride,
                                          nullptr) == 0) {
    throw std::runtime_error("a picture could not be encoded as PNG");
  }
  bytes.resize(size);
  bytes.insert(kPngHeaderEnd, png_mark());
  return bytes;
}

cv::Mat read_png(const std::filesystem::path& file) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  constexpr png_uint_32 kMostSide = 16384;  // what a damaged header may ask for
  constexpr png_uint_32 kMostArea = 64U << 20U;
  if (png_image_begin_read_from_file(&image, file.c_str()) == 0) {
    return {};
  }
  const std::unique_ptr<png_image, void (*)(png_imagep)> owned(&image, png_image_free);
  if (image.width > kMostSide || image.height > kMostSide ||
      image.width * image.height > kMostArea) {
    return {};
  }
  image.format = PNG_FORMAT_BGR;
  cv::Mat bgr(static_cast<int>(image.height), static_cast<int>(image.width), CV_8UC3,
              cv::Scalar::all(255));  // what is transparent shows white
  const auto stride = static_cast<png_int_32>(bgr.step[0]);
  return png_image_finish_read(&image, nullptr, bgr.data, stride, nullptr) == 0 ? cv::Mat() : bgr;
}

std::string jpeg_bytes(const cv::Mat& bgr, int quality) {
  const std::unique_ptr<void, int (*)(tjhandle)> compressor(tjInitCompress(), tjDestroy);
  unsigned char* data = nullptr;
  unsigned long size = 0;
  const bool done = compressor && bgr.type() == CV_8UC3 &&
                    tjCompress2(compressor.get(), bgr.data, bgr.cols, static_cast<int>(bgr.step[0]),
                                bgr.rows, TJPF_BGR, &data, &size, TJSAMP_420, quality,
                                TJFLAG_ACCURATEDCT | TJFLAG_PROGRESSIVE) == 0;
  const std::unique_ptr<unsigned char, void (*)(unsigned char*)> owned(data, tjFree);
  if (!done) {
    throw std::runtime_error("a picture could not be encoded as JPEG");
  }
  return {reinterpret_cast<const char*>(data), size};
}

}  // namespace nocktrail::media
