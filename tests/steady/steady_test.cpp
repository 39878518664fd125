// The camera's motion, known because the pictures are computed from a formula: a texture without
// any grid of its own, looked at through a rotation homography.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/optics/camera.hpp"
#include "nocktrail/steady/steady.hpp"

using namespace nocktrail;

namespace {

constexpr int kWidth = 480;
constexpr int kHeight = 320;
constexpr double kFocal_px = 360.0;
constexpr double kNoise = 2.0;  // grey levels, 1 sigma

using Random = boost::random::mt19937_64;

// A sum of plane waves of 9 to 60 px, 40 grey levels r.m.s. about 128: its value at any real
// position is exact, so that the shifted pictures carry no interpolation error.
class Texture {
 public:
  explicit Texture(std::uint64_t seed) {
    Random random(seed);
    boost::random::uniform_real_distribution<double> share(0.0, 1.0);
    for (Wave& wave : waves_) {
      const double length_px = 9.0 * std::pow(60.0 / 9.0, share(random));
      const double direction = 2.0 * std::numbers::pi * share(random);
      wave.k = 2.0 * std::numbers::pi / length_px *
               Eigen::Vector2d(std::cos(direction), std::sin(direction));
      wave.phase = 2.0 * std::numbers::pi * share(random);
    }
  }
  double at(const Eigen::Vector2d& p) const {
    double sum = 0.0;
    for (const Wave& wave : waves_) {
      sum += std::cos(wave.k.dot(p) + wave.phase);
    }
    return 128.0 + 40.0 * sum * std::sqrt(2.0 / static_cast<double>(waves_.size()));
  }

 private:
  struct Wave {
    Eigen::Vector2d k = Eigen::Vector2d::Zero();
    double phase = 0.0;
  };
  std::array<Wave, 24> waves_;
};

// The picture at which texture point H p is seen at pixel p.
cv::Mat picture(const Texture& texture, const Eigen::Matrix3d& texture_from_pixel, Random& random,
                double sigma = kNoise) {
  boost::random::normal_distribution<double> noise(0.0, sigma);
  cv::Mat image(kHeight, kWidth, CV_8UC1);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      const Eigen::Vector2d p = optics::apply_homography(texture_from_pixel, Eigen::Vector2d(x, y));
      image.at<unsigned char>(y, x) =
          cv::saturate_cast<unsigned char>(texture.at(p) + noise(random));
    }
  }
  return image;
}

// What a camera that turned by these angles (degrees) does: K R K^-1, Hartley & Zisserman, 8.4.2.
Eigen::Matrix3d turn(double yaw, double pitch, double roll) {
  constexpr double kDegree = std::numbers::pi / 180.0;
  Eigen::Matrix3d k;
  k << kFocal_px, 0, (kWidth - 1) / 2.0, 0, kFocal_px, (kHeight - 1) / 2.0, 0, 0, 1;
  const Eigen::Matrix3d r = (Eigen::AngleAxisd(yaw * kDegree, Eigen::Vector3d::UnitY()) *
                             Eigen::AngleAxisd(pitch * kDegree, Eigen::Vector3d::UnitX()) *
                             Eigen::AngleAxisd(roll * kDegree, Eigen::Vector3d::UnitZ()))
                                .toRotationMatrix();
  return k * r * k.inverse();
}

// Hand shake: slow swings on all three axes, up to 2 px at the centre and half a degree of roll.
std::vector<Eigen::Matrix3d> shake(std::size_t frames, std::size_t reference) {
  std::vector<Eigen::Matrix3d> texture_from_frame;
  for (std::size_t k = 0; k < frames; ++k) {
    const double t = static_cast<double>(k) - static_cast<double>(reference);
    texture_from_frame.push_back(
        turn(0.3 * std::sin(0.31 * t), 0.25 * std::sin(0.23 * t), 0.5 * std::sin(0.17 * t)));
  }
  return texture_from_frame;
}

double worst_px(const Eigen::Matrix3d& found, const Eigen::Matrix3d& truth) {
  double worst = 0.0;
  for (const double x : {60.0, 240.0, 420.0}) {
    for (const double y : {40.0, 160.0, 280.0}) {
      worst = std::max(
          worst, (optics::apply_homography(found, {x, y}) - optics::apply_homography(truth, {x, y}))
                     .norm());
    }
  }
  return worst;
}

steady::SteadyOptions options() {
  steady::SteadyOptions options;
  options.focal_px = kFocal_px * 1.08;  // known within 10 %
  return options;
}

constexpr std::size_t kFrames = 13;
constexpr std::size_t kReference = 5;

}  // namespace

TEST_CASE("truth: a hand's shake is recovered to a tenth of a pixel all over the picture") {
  // The bound: one patch of 17 x 17 px knows its place to noise / sqrt(sum of squared gradients),
  // here 2 / (17 * ~12 grey/px) = 0.01 px, both pictures noisy; whole grey levels, 8-bit flow
  // arithmetic and a dozen trusted patches around any place leave 0.1 px with room.
  const Texture texture(4711);
  Random random(1);
  const std::vector<Eigen::Matrix3d> truth = shake(kFrames, kReference);
  std::vector<cv::Mat> frames;
  for (const Eigen::Matrix3d& h : truth) {
    frames.push_back(picture(texture, h, random));
  }
  const steady::Steadied steadied = steady::estimate_motion(frames, kReference, options());
  REQUIRE(steadied.motion.size() == kFrames);
  CHECK(steadied.reference == kReference);
  double squares = 0.0;
  for (std::size_t k = 0; k < kFrames; ++k) {
    CAPTURE(k);
    CHECK_FALSE(steadied.motion[k].lost);
    CHECK(worst_px(steadied.motion[k].reference_from_frame, truth[k]) < 0.1);
    if (k != kReference) {
      const Eigen::Vector2d centre((kWidth - 1) / 2.0, (kHeight - 1) / 2.0);
      const Eigen::Vector2d off =
          optics::apply_homography(steadied.motion[k].reference_from_frame, centre) -
          optics::apply_homography(truth[k], centre);
      CHECK(steadied.motion[k].centre_sigma_px > 0.0);
      squares += off.squaredNorm() / 2.0 / std::pow(steadied.motion[k].centre_sigma_px, 2);
    }
  }
  // The stated error must be of the size of the true one. The frames share one reference picture,
  // so that this mean of squares wanders by more than its 24 numbers would have it.
  CHECK(std::sqrt(squares / (kFrames - 1)) < 3.0);
}

TEST_CASE("truth: in a picture full of noise corners scatter, and all of them are used") {
  // A patch knows its place to 24 / (17 * ~12 grey/px) * sqrt(2) = 0.17 px, the mean of some 150
  // trusted ones to a tenth of that at best.
  constexpr double kDim = 24.0;
  const Texture texture(4711);
  Random random(7);
  const std::vector<Eigen::Matrix3d> truth = shake(kFrames, kReference);
  std::vector<cv::Mat> frames;
  for (const Eigen::Matrix3d& h : truth) {
    frames.push_back(picture(texture, h, random, kDim));
  }
  const steady::Steadied steadied = steady::estimate_motion(frames, kReference, options());
  double squares = 0.0;
  for (std::size_t k = 0; k < kFrames; ++k) {
    CAPTURE(k);
    const steady::FrameMotion& motion = steadied.motion[k];
    REQUIRE_FALSE(motion.lost);
    CHECK(worst_px(motion.reference_from_frame, truth[k]) < 1.0);
    if (k != kReference) {
      CHECK(motion.agreeing > 100);
      const Eigen::Vector2d centre((kWidth - 1) / 2.0, (kHeight - 1) / 2.0);
      const Eigen::Vector2d off = optics::apply_homography(motion.reference_from_frame, centre) -
                                  optics::apply_homography(truth[k], centre);
      squares += off.squaredNorm() / 2.0 / std::pow(motion.centre_sigma_px, 2);
    }
  }
  CHECK(std::sqrt(squares / (kFrames - 1)) < 3.0);
}

TEST_CASE("truth: to_reference lays a frame onto the reference") {
  const Texture texture(99);
  Random random(2);
  const Eigen::Matrix3d moved = turn(0.5, -0.4, 0.8);
  const cv::Mat reference = picture(texture, Eigen::Matrix3d::Identity(), random);
  const cv::Mat frame = picture(texture, moved, random);
  steady::FrameMotion motion;
  motion.reference_from_frame = moved;
  const cv::Rect inner(40, 40, kWidth - 80, kHeight - 80);
  cv::Mat before;
  cv::Mat after;
  cv::absdiff(reference(inner), frame(inner), before);
  cv::Mat steadied;
  steady::to_reference(frame, motion, steadied);
  cv::absdiff(reference(inner), steadied(inner), after);
  // Mean of |a - b| of two noises of sigma 2: 2 * sqrt(2) * sqrt(2 / pi) = 2.26, plus what linear
  // interpolation loses on 9 px waves.
  CHECK(cv::mean(after)[0] < 4.0);
  CHECK(cv::mean(before)[0] > 20.0);
}

TEST_CASE("truth: something large that moves on its own does not pull the background along") {
  const Texture texture(4711);
  const Texture other(815);
  Random random(3);
  const std::vector<Eigen::Matrix3d> truth = shake(kFrames, kReference);
  std::vector<cv::Mat> frames;
  for (std::size_t k = 0; k < kFrames; ++k) {
    cv::Mat frame = picture(texture, truth[k], random);
    // A limb and an arm, say: an eighth of the picture, 3 px a frame.
    const double gone = 3.0 * static_cast<double>(k);
    Eigen::Matrix3d shift = Eigen::Matrix3d::Identity();
    shift(0, 2) = -gone;
    const cv::Rect place(120 + static_cast<int>(gone), 90, 150, 130);
    picture(other, shift, random)(place).copyTo(frame(place));
    frames.push_back(frame);
  }
  const steady::Steadied steadied = steady::estimate_motion(frames, kReference, options());
  for (std::size_t k = 0; k < kFrames; ++k) {
    CAPTURE(k);
    CHECK_FALSE(steadied.motion[k].lost);
    CHECK(worst_px(steadied.motion[k].reference_from_frame, truth[k]) < 0.2);
  }
}

TEST_CASE("fault: blackness, a cut and a featureless picture are lost, not guessed") {
  const Texture texture(4711);
  const Texture elsewhere(2);
  Random random(4);
  std::vector<cv::Mat> frames;
  for (int k = 0; k < 4; ++k) {
    frames.push_back(picture(texture, Eigen::Matrix3d::Identity(), random));
  }
  SUBCASE("black frames at the end") {
    frames.emplace_back(kHeight, kWidth, CV_8UC1, cv::Scalar(16));
    const steady::Steadied steadied = steady::estimate_motion(frames, 1, options());
    CHECK_FALSE(steadied.motion[3].lost);
    CHECK(steadied.motion[4].lost);
  }
  SUBCASE("another scene") {
    frames.push_back(picture(elsewhere, Eigen::Matrix3d::Identity(), random));
    const steady::Steadied steadied = steady::estimate_motion(frames, 1, options());
    CHECK_FALSE(steadied.motion[3].lost);
    CHECK(steadied.motion[4].lost);
  }
  SUBCASE("nothing to hold on to") {
    for (cv::Mat& frame : frames) {
      frame.setTo(cv::Scalar(80));
    }
    const steady::Steadied steadied = steady::estimate_motion(frames, 1, options());
    CHECK(steadied.motion[0].lost);
    CHECK(steadied.motion[3].lost);
  }
}
