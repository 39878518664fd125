// The coarse find of the receding streak on computed pictures of an arrow in straight flight seen
// through a pinhole, with its shadow on the ground and a limb that swings.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "bar_picture.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sweep.hpp"

using namespace nocktrail;

namespace {

constexpr int kWidth = 360;
constexpr int kHeight = 480;
constexpr double kFocal_px = 480.0;
constexpr double kFps = 240.0;
constexpr int kFrames = 48;
constexpr int kExit = 8;  // frame in which the nock is free
constexpr double kSpeed_mps = 52.0;
constexpr double kLength_m = 0.76;
constexpr double kAbove_m = 0.55;  // the camera over the line of flight
constexpr double kGround_m = 2.1;  // and over the ground
const Eigen::Vector2d kPrincipal_px((kWidth - 1) / 2.0, (kHeight - 1) / 2.0);
// The flight vanishes here: 4 deg above the middle of the picture, a little to the right.
const Eigen::Vector2d kVanishing_px = kPrincipal_px + Eigen::Vector2d(10.0, -34.0);

struct Scene {
  bool arrow = true;
  double beside_m = 0.02;  // the line of flight, of the camera
  bool shadow = true;
  bool limb = true;
  bool sleeve = false;  // broad, and jerks back to a side as fast as an arrow flies
};

// Where a body that flies `below_m` under the camera and `beside_m` to the right is seen when it is
// `depth_m` ahead along the flight (pinhole: s = f h / Z from the vanishing point).
Eigen::Vector2d seen(double beside_m, double below_m, double depth_m) {
  return kVanishing_px + kFocal_px / depth_m * Eigen::Vector2d(beside_m, below_m);
}

double nock_depth_m(int frame) {
  return 1.3 + kSpeed_mps * (frame - kExit) / kFps;
}

std::vector<cv::Mat> film(const Scene& scene) {
  test::Random random(31);
  cv::Mat ground = cv::Mat::zeros(kHeight, kWidth, CV_32F);
  test::add_noise(ground, 14.0, random);
  cv::Mat sum = cv::Mat(kHeight, kWidth, CV_32F, cv::Scalar(110.0));
  ground += sum;
  std::vector<cv::Mat> frames;
  for (int k = 0; k < kFrames; ++k) {
    cv::Mat frame = ground.clone();
    // Before the exit the arrow stands at full draw, its point just past the rest.
    const double depth = k < kExit ? 0.85 : nock_depth_m(k);
    if (scene.shadow) {
      test::add_bar(frame, seen(0.35, kGround_m, depth + 1.0),
                    seen(0.35, kGround_m, depth + 1.0 + kLength_m), 4.0, -35.0, 1.5);
    }
    if (scene.arrow) {
      const double width_px = std::max(1.0, kFocal_px * 0.0075 / depth);
      test::add_bar(frame, seen(scene.beside_m, kAbove_m, depth),
                    seen(scene.beside_m, kAbove_m, depth + kLength_m), width_px, 70.0, 0.8);
    }
    if (scene.limb) {
      const double swing = 12.0 * std::exp(-0.08 * k) * std::sin(0.6 * k);
      test::add_bar(frame, {150.0, 470.0}, {90.0 + swing, 60.0 + swing}, 12.0, -60.0, 1.0);
    }
    if (scene.sleeve && k >= kExit) {
      test::add_bar(frame, seen(0.45, 0.30, depth), seen(0.45, 0.30, depth + kLength_m), 9.0, 70.0,
                    0.8);
    }
    test::add_noise(frame, 1.5, random);
    cv::Mat luma;
    frame.convertTo(luma, CV_8U);
    frames.push_back(luma);
  }
  return frames;
}

std::vector<double> times() {
  std::vector<double> t_s;
  for (int k = 0; k < kFrames; ++k) {
    t_s.push_back(k / kFps);
  }
  return t_s;
}

std::vector<track::Sweep> sweeps_of(const Scene& scene, const track::SweepOptions& options = {}) {
  const std::vector<cv::Mat> frames = film(scene);
  const track::Background background = track::learn_background(frames, options);
  return track::find_sweeps(track::find_passings(frames, background, kExit - 2, times(), options),
                            times(), kFocal_px, options);
}

}  // namespace

TEST_CASE("truth: the arrow's streak is found with its rate, place and cover") {
  const std::vector<track::Sweep> sweeps = sweeps_of({});
  REQUIRE_FALSE(sweeps.empty());
  const track::Sweep& best = sweeps.front();
  CHECK(best.frames >= 12);
  // v/h: 52 m/s over 0.55 m. A coarse sight, good for a start: 20 %.
  CHECK(best.v_per_h(kFocal_px) == doctest::Approx(kSpeed_mps / kAbove_m).epsilon(0.2));
  // Where the middle of the shaft is seen 2 m and 5 m on.
  for (const double flown_m : {2.0, 5.0}) {
    CAPTURE(flown_m);
    const int frame = kExit + static_cast<int>(std::lround(flown_m / kSpeed_mps * kFps));
    const double t = frame / kFps;
    const Eigen::Vector2d nock = seen(0.02, kAbove_m, nock_depth_m(frame));
    const Eigen::Vector2d tip = seen(0.02, kAbove_m, nock_depth_m(frame) + kLength_m);
    const Eigen::Vector2d middle = best.vanishing_px + best.outward * best.distance_px(t);
    CHECK((middle - (nock + tip) / 2).norm() < (nock - tip).norm() / 2 + 2.0);
  }
  CHECK((best.vanishing_px - kVanishing_px).norm() < 12.0);
  // L / v = 14.6 ms, in whole frames of 4.2 ms.
  CHECK(std::abs(best.cover_s - kLength_m / kSpeed_mps) < 0.0042);
}

TEST_CASE("truth: what swings beside the arrow in the same frames does not drown its streak") {
  const std::vector<cv::Mat> frames = film({.arrow = true, .shadow = false, .limb = false});
  track::SweepOptions options;
  const track::Background background = track::learn_background(frames, options);
  std::vector<track::Passing> passings =
      track::find_passings(frames, background, kExit - 2, times(), options);
  // A limb's sweep of fifty times as many pixels, each passed once.
  for (int k = kExit; k < kExit + 24; ++k) {
    for (int y = 20; y < 220; ++y) {
      for (int x = 0; x < 8; ++x) {
        passings.push_back({static_cast<float>(20 + 8 * (k - kExit) / 2 + x), static_cast<float>(y),
                            static_cast<std::int16_t>(k), 2});
      }
    }
  }
  options.cell_px = 32;
  const std::vector<track::Sweep> sweeps =
      track::find_sweeps(passings, times(), kFocal_px, options);
  const bool found = std::any_of(sweeps.begin(), sweeps.end(), [](const track::Sweep& sweep) {
    return (sweep.vanishing_px - kVanishing_px).norm() < 14.0 &&
           std::abs(sweep.v_per_h(kFocal_px) / (kSpeed_mps / kAbove_m) - 1.0) < 0.25;
  });
  CHECK(found);
}

TEST_CASE("truth: what recedes to a side comes after an arrow that shows less") {
  Scene scene;
  scene.sleeve = true;
  const auto lean = [](const track::Sweep& sweep) {
    return std::abs(std::atan2(sweep.outward.x(), sweep.outward.y()));
  };
  constexpr double kArrow_rad = 0.1;   // atan(0.02 / 0.55) = 0.04
  constexpr double kSleeve_rad = 0.8;  // atan(0.45 / 0.30) = 0.98
  const std::vector<track::Sweep> sweeps = sweeps_of(scene);
  REQUIRE(sweeps.size() >= 2);
  CHECK(lean(sweeps.front()) < kArrow_rad);
  CHECK(std::any_of(sweeps.begin(), sweeps.end(),
                    [&](const auto& sweep) { return lean(sweep) > kSleeve_rad; }));
  // By what they show the sleeve would be first.
  track::SweepOptions any_lean;
  any_lean.usual_sideways_deg = 1e6;
  const std::vector<track::Sweep> by_size = sweeps_of(scene, any_lean);
  REQUIRE_FALSE(by_size.empty());
  CHECK(lean(by_size.front()) > kSleeve_rad);
}

TEST_CASE("truth: a path that leans comes out as it leans") {
  constexpr double kMost_rad = 0.052;  // 3 deg
  Scene scene{.shadow = false, .limb = false};
  for (const double lean_rad : {0.38, 0.61}) {  // 22 and 35 deg
    scene.beside_m = kAbove_m * std::tan(lean_rad);
    double sum = 0.0;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
      track::SweepOptions options;
      options.seed = seed;
      const std::vector<track::Sweep> sweeps = sweeps_of(scene, options);
      REQUIRE_FALSE(sweeps.empty());
      sum += std::atan2(sweeps.front().outward.x(), sweeps.front().outward.y()) - lean_rad;
    }
    CAPTURE(lean_rad);
    CHECK(std::abs(sum / 6.0) < kMost_rad);
  }
}

TEST_CASE("truth: neither shadow nor limb passes for an arrow") {
  for (const track::Sweep& sweep : sweeps_of({.arrow = false, .shadow = true, .limb = true})) {
    // What the options promise: nothing slower than 36 /s (with the tenth that fitting may move
    // it), and v/h of the shadow is 52 / 2.1 = 25 /s.
    CHECK(sweep.v_per_h(kFocal_px) > 0.9 * 36.0);
    CHECK(sweep.frames < 12);
  }
}

TEST_CASE("truth: nothing moves, nothing is found") {
  CHECK(sweeps_of({.arrow = false, .shadow = false, .limb = false}).empty());
}

TEST_CASE("truth: the coarse shaft lies on the arrow in most frames of the flight") {
  const std::vector<cv::Mat> frames = film({});
  const std::vector<track::Sweep> sweeps = sweeps_of({});
  REQUIRE_FALSE(sweeps.empty());
  const track::ShaftOptions options;
  const cv::Rect roi = track::region_of(sweeps.front(), frames.front().size());
  std::vector<cv::Rect> used;
  for (std::size_t k = 0; k < frames.size(); ++k) {
    used.push_back(track::part_at(sweeps.front(), static_cast<double>(k) / kFps, roi));
  }
  const track::Region region = track::cut_region(frames, roi, 0, frames.size(), used, options);
  int good = 0;
  int wrong = 0;
  for (int k = kExit + 5; k < kExit + 25; ++k) {
    const auto shaft =
        track::coarse_shaft(region, static_cast<std::size_t>(k), sweeps.front(), k / kFps, options);
    if (!shaft) {
      continue;
    }
    const Eigen::Vector2d nock = seen(0.02, kAbove_m, nock_depth_m(k));
    const Eigen::Vector2d tip = seen(0.02, kAbove_m, nock_depth_m(k) + kLength_m);
    const bool close = (shaft->nock_px - nock).norm() < 4.0 && (shaft->tip_px - tip).norm() < 4.0;
    (close ? good : wrong) += 1;
  }
  CHECK(good >= 15);
  CHECK(wrong <= 2);
}

TEST_CASE("unit: the median picture is the middle value of each pixel, whatever their number") {
  cv::RNG random(20110);
  for (const int count : {1, 2, 3, 5, 7, 11, 12}) {
    CAPTURE(count);
    std::vector<cv::Mat> pictures;
    for (int i = 0; i < count; ++i) {
      pictures.emplace_back(37, 23, CV_8U);
      random.fill(pictures.back(), cv::RNG::UNIFORM, 0, 256);
    }
    const cv::Mat median = track::median_picture(pictures, count);
    for (int y = 0; y < median.rows; ++y) {
      for (int x = 0; x < median.cols; ++x) {
        std::vector<int> values;
        for (const cv::Mat& picture : pictures) {
          values.push_back(picture.at<std::uint8_t>(y, x));
        }
        std::sort(values.begin(), values.end());
        REQUIRE(median.at<std::uint8_t>(y, x) == values[values.size() / 2]);
      }
    }
  }
}
