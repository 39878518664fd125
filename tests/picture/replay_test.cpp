// Replays of a made-up shot, from a clip that the ffmpeg tool makes of drawn frames, and taken
// apart by it again.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/picture/replay.hpp"
#include "scene.hpp"
#include "scratch_folder.hpp"

using namespace nocktrail;
using nocktrail::picture::draw_replay;
using nocktrail::picture::ReplayOptions;
using nocktrail::picture::ReplayShot;
using nocktrail::scratch::Folder;
using nocktrail::test::Scene;

namespace {

namespace fs = std::filesystem;

constexpr double kLandmark_px = 24.0;

// The scene with something in its background to hold on to, which the camera's drift moves: blocks
// of grey, and a landmark of a colour of its own.
cv::Mat frame_of(const Scene& scene, int index) {
  cv::Mat bgr = scene.frame(index);
  const double drift = scene.drift_px_per_frame * index;
  std::minstd_rand random(7);  // NOLINT: the same blocks in every frame
  for (int k = 0; k < 400; ++k) {
    const auto x = static_cast<double>(random() % 1500U) - 100.0 + drift;
    const auto y = static_cast<double>(random() % 720U);
    const auto grey = static_cast<double>(40U + random() % 180U);
    // Above and below the flight, so that the arrow stays in sight.
    if (std::abs(y - 380.0) > 130.0) {
      cv::rectangle(bgr, cv::Rect2d(x, y, 18.0, 18.0), cv::Scalar::all(grey), cv::FILLED);
    }
  }
  cv::rectangle(bgr, cv::Rect2d(500.0 + drift, 300.0, kLandmark_px, kLandmark_px),
                cv::Scalar(255, 0, 255), cv::FILLED);
  return bgr;
}

bool tool() {
  return std::system("command -v ffmpeg >/dev/null 2>&1") == 0;
}

void make_clip(const Scene& scene, const fs::path& path) {
  std::ofstream raw(path.string() + ".raw", std::ios::binary);
  for (int k = 0; k < scene.frames; ++k) {
    const cv::Mat bgr = frame_of(scene, k);
    raw.write(reinterpret_cast<const char*>(bgr.data),
              static_cast<std::streamsize>(bgr.total() * bgr.elemSize()));
  }
  raw.close();
  REQUIRE(std::system(fmt::format("ffmpeg -v error -f rawvideo -pix_fmt bgr24 -s {}x{} -r 240 -i "
                                  "'{}.raw' -pix_fmt yuv420p -c:v libx264 -crf 8 '{}'",
                                  scene.size.width, scene.size.height, path.string(), path.string())
                          .c_str()) == 0);
}

// As measured from the exit at frame `exit` on; the loose three frames before.
ReplayShot shot_of(const Scene& scene, const fs::path& clip, int exit) {
  ReplayShot shot;
  shot.reading = scene.reading();
  shot.reading.clip.path = clip.string();
  shot.reading.camera.focal_px = scene.focal_px;
  Shot& measured = shot.reading.shots[0];
  measured.fitted.erase(measured.fitted.begin(), measured.fitted.begin() + exit);
  measured.reference_index = exit;
  measured.exit_s = (exit - 0.5) / 240.0;
  measured.loose_s = (exit - 3.5) / 240.0;
  return shot;
}

struct Played {
  std::vector<cv::Mat> frames;
};

Played played(const Folder& folder, const std::string& film) {
  const fs::path path = folder / "film.mp4";
  std::ofstream(path, std::ios::binary) << film;
  const fs::path raw = folder / "film.raw";
  REQUIRE(std::system(fmt::format("ffmpeg -y -v error -i '{}' -f rawvideo -pix_fmt bgr24 '{}'",
                                  path.string(), raw.string())
                          .c_str()) == 0);
  const std::string bytes = scratch::content(raw);
  constexpr int kWidth = 720;
  // The height is in the track's header; the tool says it.
  REQUIRE(std::system(fmt::format("ffprobe -v error -show_entries stream=height -of csv=p=0 '{}' > "
                                  "'{}.height'",
                                  path.string(), path.string())
                          .c_str()) == 0);
  const int height = std::atoi(scratch::content(path.string() + ".height").c_str());
  const std::size_t size = static_cast<std::size_t>(kWidth) * static_cast<std::size_t>(height) * 3U;
  REQUIRE(size > 0);
  REQUIRE(bytes.size() % size == 0);
  Played all;
  for (std::size_t at = 0; at < bytes.size(); at += size) {
    cv::Mat one(height, kWidth, CV_8UC3);
    std::copy_n(bytes.data() + at, size, reinterpret_cast<char*>(one.data));
    all.frames.push_back(one);
  }
  return all;
}

// The middle of what has the landmark's colour; empty without it.
std::optional<cv::Point2d> landmark(const cv::Mat& bgr) {
  cv::Mat found;
  cv::inRange(bgr, cv::Scalar(170, 0, 170), cv::Scalar(255, 90, 255), found);
  const cv::Moments m = cv::moments(found, true);
  return m.m00 < 20.0 ? std::nullopt
                      : std::optional<cv::Point2d>(cv::Point2d(m.m10 / m.m00, m.m01 / m.m00));
}

double difference(const cv::Mat& a, const cv::Mat& b) {
  return cv::norm(a, b, cv::NORM_L1) / static_cast<double>(a.total() * 3U);
}

}  // namespace

TEST_CASE("truth: a replay stands still though the camera moves, before the exit too") {
  if (!tool()) {
    MESSAGE("skipped: the ffmpeg tool is not here");
    return;
  }
  const Folder folder;
  Scene scene;
  scene.drift_px_per_frame = 4.0;
  make_clip(scene, folder / "drift.mp4");
  const std::vector<ReplayShot> shots = {shot_of(scene, folder / "drift.mp4", 8)};
  const std::optional<std::string> film = draw_replay(shots, {});
  REQUIRE(film);
  const Played all = played(folder, *film);
  // From 12 ms before the loose (frame 4.5 less 2.88) to the last frame, twice each, and the last
  // one for one second and a half more, at 24 pictures a second.
  const std::size_t shown = 24 - 2;
  CHECK(all.frames.size() == 2 * shown + 36);
  const std::optional<cv::Point2d> first = landmark(all.frames.front());
  REQUIRE(first);
  for (const cv::Mat& frame : all.frames) {
    const std::optional<cv::Point2d> now = landmark(frame);
    REQUIRE(now);
    // Unsteadied it goes 80 px and more.
    CHECK(std::hypot(now->x - first->x, now->y - first->y) < 1.0);
  }
  // Each frame is held; the next one differs.
  for (std::size_t k = 0; k + 1 < 2 * shown; k += 2) {
    CHECK(difference(all.frames[k], all.frames[k + 1]) < 0.6);
  }
}

TEST_CASE("unit: the shaft is drawn where it was fitted, and no earlier than that") {
  if (!tool()) {
    MESSAGE("skipped: the ffmpeg tool is not here");
    return;
  }
  const Folder folder;
  const Scene scene;
  make_clip(scene, folder / "still.mp4");
  const std::vector<ReplayShot> shots = {shot_of(scene, folder / "still.mp4", 8)};
  const std::optional<std::string> film = draw_replay(shots, {});
  REQUIRE(film);
  const Played all = played(folder, *film);
  const auto orange = [](const cv::Mat& bgr) {  // of the shaft's line, in the panel alone
    cv::Mat found;
    cv::inRange(bgr(cv::Rect(24, 60, 672, 560)), cv::Scalar(0, 40, 150), cv::Scalar(60, 120, 240),
                found);
    return cv::countNonZero(found);
  };
  CHECK(orange(all.frames[0]) < 30);              // before the loose
  CHECK(orange(all.frames[2 * (10 - 2)]) > 150);  // frame 10
}

TEST_CASE("unit: two shots are laid over one another from the exit on") {
  if (!tool()) {
    MESSAGE("skipped: the ffmpeg tool is not here");
    return;
  }
  const Folder folder;
  Scene scene;
  make_clip(scene, folder / "one.mp4");
  scene.nock_right_deg = 3.0;
  make_clip(scene, folder / "two.mp4");
  std::vector<ReplayShot> shots = {shot_of(scene, folder / "one.mp4", 6),
                                   shot_of(scene, folder / "two.mp4", 9)};
  const std::optional<std::string> film = draw_replay(shots, {});
  REQUIRE(film);
  const Played all = played(folder, *film);
  const std::optional<std::string> alone = draw_replay(std::span(shots).first(1), {});
  REQUIRE(alone);
  // The words for both make it taller; the first one decides how long it is.
  const Played one = played(folder, *alone);
  CHECK(all.frames[0].rows > one.frames[0].rows);
  CHECK(all.frames.size() == one.frames.size());
  // Without a known exit there is nothing to lay them together by.
  shots[1].reading.shots[0].exit_s.reset();
  CHECK_THROWS_AS(draw_replay(shots, {}), BadInput);
}

TEST_CASE(
    "fault: what cannot be shown is said; stopping leaves nothing; long flights are bounded") {
  if (!tool()) {
    MESSAGE("skipped: the ffmpeg tool is not here");
    return;
  }
  const Folder folder;
  const Scene scene;
  make_clip(scene, folder / "a.mp4");
  std::vector<ReplayShot> shots = {shot_of(scene, folder / "a.mp4", 8)};
  int asked = 0;
  CHECK_FALSE(draw_replay(shots, {}, [&](double) { return ++asked < 3; }));
  ReplayOptions few;
  few.most_frames = 6;
  const std::optional<std::string> film = draw_replay(shots, few);
  REQUIRE(film);
  CHECK(played(folder, *film).frames.size() <= 2 * 6 + 36);
  // A file of that name that is another one by now.
  shots[0].reading.shots[0].fitted.back().index = 500;
  CHECK_THROWS_AS(draw_replay(shots, {}), UnreadableClip);
  shots[0].reading.clip.path = (folder / "gone.mp4").string();
  CHECK_THROWS_AS(draw_replay(shots, {}), UnreadableClip);
  shots[0].reading.shots[0].status = ShotStatus::refused;
  shots[0].reading.shots[0].reason = "too few frames";
  CHECK(picture::why_no_replay(shots[0].reading, 0) == "too few frames");
  CHECK_FALSE(picture::why_no_replay(shots[0].reading, 3).empty());
  CHECK_THROWS_AS(draw_replay(shots, {}), BadInput);
}
