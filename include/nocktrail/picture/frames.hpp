// Frames of a clip in colour, for pictures.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "nocktrail/media/clip.hpp"
#include "nocktrail/picture/still.hpp"

namespace nocktrail::picture {

// Y'CbCr to B'G'R', BT.709 coefficients, limited range (ITU-R BT.709-6, items 3.2 to 3.5: luma
// 16..235, colour difference 16..240 about 128). Without chroma planes, a grey picture.
// CV_8UC3, BGR.
cv::Mat bgr_from_frame(const media::Frame& frame);

// Opens the clip anew and fetches from it. A clip that can no longer be read gives no frames.
FrameFetcher frames_of(const std::filesystem::path& path);

}  // namespace nocktrail::picture
