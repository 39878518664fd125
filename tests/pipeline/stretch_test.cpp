// How much of a clip is held at once.
#include "stretch.hpp"

#include <doctest/doctest.h>

#include "../media/support.hpp"

using namespace nocktrail;

TEST_CASE("unit: the frames around a loose take no more of the memory at 4K than they may") {
  const media::testing::Scratch scratch;
  const auto film = [&](const char* size) {
    return scratch.make(std::string(size) + ".mp4",
                        std::string("-f lavfi -i color=gray:s=") + size +
                            ":r=240 -t 0.4 -c:v libx264 -preset ultrafast -pix_fmt yuv420p");
  };
  const auto held = [](const std::filesystem::path& path) {
    media::Clip clip = media::Clip::open(path);
    pipeline::Effort effort;
    return pipeline::load_stretch(clip, 0.15, pipeline::AnalysisOptions{}, effort);
  };
  const auto bytes = [](const pipeline::Stretch& stretch) {
    double sum = 0.0;
    for (const cv::Mat& luma : stretch.luma) {
      sum += static_cast<double>(luma.total() * luma.elemSize());
    }
    return sum;
  };
  const auto large = film("3840x2160");
  const auto usual = film("1920x1080");
  REQUIRE(large);
  REQUIRE(usual);
  // 24 hundredths of a second: 58 frames of 8.3 MB would be 480 MB; docs/reliability.md.
  const pipeline::Stretch at_4k = held(*large);
  CHECK(bytes(at_4k) <= 360e6);
  CHECK(at_4k.t_s.size() >= pipeline::kLeastStretchFrames);
  CHECK(at_4k.t_s.back() - at_4k.t_s.front() > 0.2);  // thinner, not shorter
  CHECK(held(*usual).t_s.size() >= 57);               // where all fit, all are taken
}
