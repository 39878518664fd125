// Sudden sounds among steady ones, on computed sound.
#include <doctest/doctest.h>

#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cmath>
#include <numbers>
#include <vector>

#include "nocktrail/track/loose.hpp"

using namespace nocktrail;

namespace {

constexpr double kRate_hz = 16000.0;

// Two seconds of wind (20 Hz swell, loud), a voice (220 Hz) and the microphone's hiss.
media::Sound ambience() {
  media::Sound sound;
  sound.sample_rate_hz = kRate_hz;
  sound.s_per_sample = 1.0 / kRate_hz;
  boost::random::mt19937_64 random(11);
  boost::random::normal_distribution<double> hiss(0.0, 0.002);
  for (int i = 0; i < static_cast<int>(2.0 * kRate_hz); ++i) {
    const double t = i / kRate_hz;
    const double wind = 0.2 * std::sin(2 * std::numbers::pi * 20 * t);
    const double voice = 0.02 * std::sin(2 * std::numbers::pi * 220 * t);
    sound.samples.push_back(static_cast<float>(wind + voice + hiss(random)));
  }
  return sound;
}

// A damped broad-band burst, as a string or a butt gives.
void add_knock(media::Sound& sound, double at_s, double loudness) {
  boost::random::mt19937_64 random(12);
  boost::random::normal_distribution<double> burst(0.0, loudness);
  const auto from = static_cast<std::size_t>(at_s * kRate_hz);
  for (std::size_t i = 0; from + i < sound.samples.size() && i < 800; ++i) {
    sound.samples[from + i] +=
        static_cast<float>(burst(random) * std::exp(-static_cast<double>(i) / 160.0));
  }
}

bool holds(const std::vector<double>& times, double t_s) {
  return std::any_of(times.begin(), times.end(),
                     [&](double t) { return std::abs(t - t_s) < 0.005; });
}

}  // namespace

TEST_CASE("unit: what moves as a film begins is no better a loose than what moves within it") {
  // A patch sets off in the eighth frame, a slightly smaller one in the fiftieth.
  std::vector<cv::Mat> film;
  std::vector<double> t_s;
  constexpr int kFrames = 90;
  for (int k = 0; k < kFrames; ++k) {
    cv::Mat frame(480, 640, CV_8U, cv::Scalar(90));
    const auto patch = [&](int from, int side) {
      if (k >= from && k < from + 8) {
        frame(cv::Rect(40 + 24 * (k - from), 40 + from, side, side)).setTo(180);
      }
    };
    patch(8, 104);
    patch(50, 96);
    film.push_back(frame);
    t_s.push_back(k / 240.0);
  }
  const std::vector<track::LooseCandidate> surges = track::surges_among(film, t_s, {});
  REQUIRE(surges.size() == 2);
  CHECK(std::abs(surges.front().t_s - 50 / 240.0) < 0.01);
}

TEST_CASE("truth: string and butt are heard, wind and voice are not") {
  media::Sound sound = ambience();
  CHECK(track::find_knocks(sound, {}).empty());
  add_knock(sound, 0.7, 0.2);
  add_knock(sound, 1.05, 0.35);
  const std::vector<double> knocks = track::find_knocks(sound, {});
  REQUIRE(knocks.size() == 2);
  CHECK(holds(knocks, 0.7));
  CHECK(std::abs(knocks.front() - 1.05) < 0.005);  // loudest first
}

TEST_CASE("truth: in stretched slow motion the knock lies at its capture time") {
  media::Sound sound = ambience();
  add_knock(sound, 1.2, 0.3);
  sound.s_per_sample = 0.125 / kRate_hz;  // 240 a second played at 30
  sound.start_t_s = 0.02;
  const std::vector<double> knocks = track::find_knocks(sound, {});
  REQUIRE(knocks.size() == 1);
  CHECK(std::abs(knocks.front() - (0.02 + 1.2 * 0.125)) < 0.001);
}

TEST_CASE("fault: silence and a sound of no length have no knocks") {
  media::Sound sound = ambience();
  std::fill(sound.samples.begin(), sound.samples.end(), 0.0F);
  CHECK(track::find_knocks(sound, {}).empty());
  sound.samples.clear();
  CHECK(track::find_knocks(sound, {}).empty());
}

// An arrow's thud in a butt is dull (common practice, no source); what a phone hisses is bright.
TEST_CASE("truth: a dull thud is heard among the means of the sound, where it drowns in hiss") {
  media::Sound sound;
  sound.sample_rate_hz = kRate_hz;
  sound.s_per_sample = 1.0 / kRate_hz;
  boost::random::mt19937_64 random(5);
  boost::random::normal_distribution<float> normal;
  constexpr double kThud_s = 0.6;
  for (int i = 0; i < static_cast<int>(kRate_hz); ++i) {
    const double t = i / kRate_hz - kThud_s;
    const double thud =
        t < 0.0 ? 0.0 : 0.1 * std::exp(-t / 0.02) * std::sin(2.0 * std::numbers::pi * 450.0 * t);
    sound.samples.push_back(0.025F * normal(random) + static_cast<float>(thud));
  }
  track::LooseOptions faint;
  faint.least_knock = 3.0;
  CHECK(track::find_knocks(sound, faint).empty());
  faint.knock_mean_s = 0.0005;
  const std::vector<double> thuds = track::find_knocks(sound, faint);
  REQUIRE(thuds.size() == 1);
  CHECK(std::abs(thuds.front() - kThud_s) < 0.006);
}

TEST_CASE("fault: a sound of a few samples a second is listened to and says nothing") {
  media::Sound sound;
  for (const double rate_hz : {1.0, 30.0, 70.0, 130.0}) {
    sound.sample_rate_hz = rate_hz;
    sound.s_per_sample = 1.0 / rate_hz;
    sound.samples.assign(400, 0.0F);
    for (const double mean_s : {0.0, 0.0005, 0.5}) {
      track::LooseOptions options;
      options.knock_mean_s = mean_s;
      CHECK(track::find_knocks(sound, options).empty());
    }
  }
}
