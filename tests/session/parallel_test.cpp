// The real reader at work on two clips at once. The thread sanitizer watches this (tools/tsan.sh).
#include <doctest/doctest.h>

#include <opencv2/core/utility.hpp>
#include <span>
#include <string>
#include <thread>

#include "nocktrail/report/json.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

TEST_CASE("unit: two clips read at once give what each gives alone") {
#ifdef __SANITIZE_THREAD__
  // OpenCV hands its loops to Debian's oneTBB, which is built without the sanitizer: what that
  // orders is not seen, and every picture that passes through looks like a race.
  cv::setNumThreads(0);
#endif
  const fs::path clips = NOCKTRAIL_TEST_CLIPS;
  const auto read = [&clips](const char* name) {
    const Reading reading = read_clip(clips / name, {});
    return report::json_text(std::span(&reading, 1));
  };
  std::string first;
  std::string second;
  std::thread beside([&] { first = read("upside-down.mp4"); });
  second = read("stored-mirrored.mp4");
  beside.join();
  CHECK(first == read("upside-down.mp4"));
  CHECK(second == read("stored-mirrored.mp4"));
}
