// Pictures as files: PNG and JPEG to and from 8-bit BGR.
// PNG: ISO/IEC 15948; JPEG: ISO/IEC 10918-1. OpenCV's own module for this is left out on purpose:
// it draws in a hundred libraries for formats that nobody asks for here.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <string>

namespace nocktrail::media {

// The bytes of a PNG file of an 8-bit picture, BGR or grey. Throws std::runtime_error.
std::string png_bytes(const cv::Mat& picture);

// The 8-bit BGR picture in a PNG file; empty when there is none that can be read.
cv::Mat read_png(const std::filesystem::path& file);

// The bytes of a JPEG file of an 8-bit BGR picture, quality 1 to 100. Throws std::runtime_error.
std::string jpeg_bytes(const cv::Mat& bgr, int quality);

}  // namespace nocktrail::media
