// What flies across the picture, told from what recedes, swings or flickers: passings computed from
// plain motion before a pinhole.
#include "nocktrail/track/crossing.hpp"

#include <doctest/doctest.h>

#include <Eigen/Core>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>

using namespace nocktrail;

namespace {

const cv::Size kSize(1280, 720);
constexpr double kFps = 240.0;
constexpr int kFrames = 58;
constexpr int kExit = 14;

std::vector<double> times() {
  std::vector<double> t_s;
  for (int k = 0; k < kFrames; ++k) {
    t_s.push_back(k / kFps);
  }
  return t_s;
}

class Film {
 public:
  // Changes within a few pixels of a place, in one frame.
  void change(const Eigen::Vector2d& at, int frame, int count) {
    boost::random::uniform_real_distribution<double> off(-2.0, 2.0);
    for (int i = 0; i < count; ++i) {
      const Eigen::Vector2d p = at + Eigen::Vector2d(off(random_), off(random_));
      if (p.x() > 6 && p.y() > 6 && p.x() < kSize.width - 6 && p.y() < kSize.height - 6) {
        passings.push_back({static_cast<float>(p.x()), static_cast<float>(p.y()),
                            static_cast<std::int16_t>(frame), 1});
      }
    }
  }
  double draw(double low, double high) {
    return boost::random::uniform_real_distribution<double>(low, high)(random_);
  }
  std::vector<track::Passing> passings;

 private:
  boost::random::mt19937 random_{11};
};

// 50 m/s, 6 m in front of a camera of 883 px: 31 px a frame.
void arrow_across(Film& film) {
  for (int k = kExit; k < kFrames; ++k) {
    const double x = 100.0 + 883.0 / 6.0 * 50.0 / kFps * (k - kExit);
    film.change({x, 300.0 + 0.05 * x}, k, 25);
  }
}

// Seen from behind, 0.55 m over the line of flight.
void arrow_away(Film& film) {
  for (int k = kExit; k < kFrames; ++k) {
    const double depth = 1.5 + 50.0 / kFps * (k - kExit);
    film.change({650.0 + 40.0 / depth, 250.0 + 883.0 * 0.55 / depth}, k, 25);
  }
}

void limb(Film& film) {
  for (int k = kExit - 4; k < kFrames; ++k) {
    const double swing = std::exp(-0.06 * (k - kExit)) * std::sin(0.5 * (k - kExit));
    film.change({500.0 + 90.0 * swing, 400.0 - 40.0 * swing}, k, 40);
  }
}

void leaves(Film& film) {
  for (int k = 0; k < kFrames; ++k) {
    for (int i = 0; i < 20; ++i) {
      film.change({film.draw(20.0, 1260.0), film.draw(20.0, 350.0)}, k, 3);
    }
  }
}

}  // namespace

TEST_CASE("truth: an arrow that flies across is found, with its speed, among limbs and leaves") {
  Film film;
  arrow_across(film);
  limb(film);
  leaves(film);
  const auto crossings = track::find_crossings(film.passings, times(), kSize, {});
  REQUIRE(crossings.size() == 1);
  const track::Crossing& crossing = crossings.front();
  CHECK(crossing.velocity_px_s.x() == doctest::Approx(883.0 / 6.0 * 50.0).epsilon(0.1));
  CHECK(crossing.span_px > 0.6 * kSize.width);
}

TEST_CASE("truth: what recedes, swings or flickers does not fly across") {
  Film film;
  CHECK(track::find_crossings(film.passings, times(), kSize, {}).empty());
  arrow_away(film);
  CHECK(track::find_crossings(film.passings, times(), kSize, {}).empty());
  limb(film);
  CHECK(track::find_crossings(film.passings, times(), kSize, {}).empty());
  leaves(film);
  CHECK(track::find_crossings(film.passings, times(), kSize, {}).empty());
}
