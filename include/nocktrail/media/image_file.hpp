// Pictures as files: PNG and JPEG to and from 8-bit BGR.
// PNG: ISO/IEC 15948; JPEG: ISO/IEC 10918-1. OpenCV's own module for this is left out on purpose:
// it draws in a hundred libraries for formats that nobody asks for here.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>

namespace nocktrail::media {

// The bytes of a PNG file of an 8-bit picture, BGR or grey, with a mark that it is one of ours: a
// text of keyword "Software" (ISO/IEC 15948, 11.3.3). Throws std::runtime_error.
std::string png_bytes(const cv::Mat& picture);

// What a file is made of, without decoding it.
struct PngParts {
  bool marked = false;  // as png_bytes marks it
  // Just the parts that png_bytes gave before there was a mark: a header for 8 bits without
  // palette, the colour space, data in parts of the usual size, the end.
  bool plain = false;
  int width_px = 0;  // 0: no PNG
};
PngParts png_parts(std::string_view bytes);

// The 8-bit BGR picture in a PNG file; empty when there is none that can be read.
cv::Mat read_png(const std::filesystem::path& file);

// The bytes of a JPEG file of an 8-bit BGR picture, quality 1 to 100. Throws std::runtime_error.
std::string jpeg_bytes(const cv::Mat& bgr, int quality);

}  // namespace nocktrail::media
