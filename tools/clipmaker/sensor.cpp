#include "sensor.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace clipmaker {
namespace {

constexpr int kGrain = 1024;
constexpr float kGrainUnit = 32.0F;

// Unit-variance noise blurred to a grain of the given size, tiling seamlessly.
std::vector<std::int8_t> make_grain(double grain_px, Rng& rng) {
  cv::Mat noise(kGrain, kGrain, CV_32F);
  for (int y = 0; y < kGrain; ++y) {
    float* row = noise.ptr<float>(y);
    for (int x = 0; x < kGrain; ++x) {
      row[x] = static_cast<float>(rng.normal());
    }
  }
  if (grain_px > 0.2) {
    cv::Mat framed;
    cv::copyMakeBorder(noise, framed, 8, 8, 8, 8, cv::BORDER_WRAP);
    cv::GaussianBlur(framed, framed, {}, grain_px);
    noise = framed(cv::Rect(8, 8, kGrain, kGrain)).clone();
    cv::Scalar mean;
    cv::Scalar deviation;
    cv::meanStdDev(noise, mean, deviation);
    noise /= deviation[0];
  }
  std::vector<std::int8_t> out(static_cast<std::size_t>(kGrain) * kGrain);
  for (int y = 0; y < kGrain; ++y) {
    const float* row = noise.ptr<float>(y);
    for (int x = 0; x < kGrain; ++x) {
      out[static_cast<std::size_t>(y) * kGrain + static_cast<std::size_t>(x)] =
          static_cast<std::int8_t>(std::lround(std::clamp(row[x] * kGrainUnit, -127.0F, 127.0F)));
    }
  }
  return out;
}

// Turns a plane of the displayed picture into stored orientation.
void turn_plane(const std::vector<std::uint8_t>& from, int w, int h, int rotation, bool mirrored,
                std::vector<std::uint8_t>& to) {
  cv::Mat source(h, w, CV_8U, const_cast<std::uint8_t*>(from.data()));
  const bool across = rotation % 180 != 0;
  cv::Mat target(across ? w : h, across ? h : w, CV_8U, to.data());
  switch (rotation) {
    case 90:  // a player turns it clockwise, so it is stored turned the other way
      cv::rotate(source, target, cv::ROTATE_90_COUNTERCLOCKWISE);
      break;
    case 180:
      cv::rotate(source, target, cv::ROTATE_180);
      break;
    case 270:
      cv::rotate(source, target, cv::ROTATE_90_CLOCKWISE);
      break;
    default:
      source.copyTo(target);
  }
  if (mirrored) {
    cv::flip(target, target, 1);
  }
}

}  // namespace

Sensor::Sensor(const SensorSpec& spec, const PictureSpec& picture, std::uint64_t seed)
    : picture_(picture),
      rng_(Rng::stream(seed, 51)),
      grain_(make_grain(spec.noise_grain_px, rng_)) {
  for (std::size_t code = 0; code < 256; ++code) {
    const float signal = std::clamp((static_cast<float>(code) - 16.0F) / 219.0F, 0.0F, 1.0F);
    const double light = static_cast<double>(to_linear(signal));
    // Variance of the light in units of white, then through the slope of the transfer curve.
    const double deviation =
        std::sqrt(light / spec.full_well_e + std::pow(spec.read_noise_e / spec.full_well_e, 2.0));
    const double slope = light < 0.018 ? 4.5 : 1.099 * 0.45 * std::pow(light, -0.55);
    const double in_codes = 219.0 * slope * deviation;
    luma_noise_[code] = static_cast<std::int32_t>(std::lround(in_codes * 256.0));
    // Colour noise is what the phone's denoiser removes most of.
    chroma_noise_[code] = static_cast<std::int32_t>(std::lround(0.45 * in_codes * 256.0));
  }
}

void Sensor::store(const Picture& shown, StoredFrame& out) {
  const int w = shown.width;
  const int h = shown.height;
  StoredFrame& target = upright_;
  target.resize(w, h);
  const auto shift = rng_.bits();
  const auto ox = static_cast<std::size_t>(shift & 1023U);
  const auto oy = static_cast<std::size_t>((shift >> 10U) & 1023U);
  const auto noisy = [](std::int32_t value, std::int32_t deviation, std::int8_t grain) {
    const std::int32_t v = value + ((deviation * grain) >> 5) + 128;
    return static_cast<std::uint8_t>(std::clamp(v >> 8, 0, 255));
  };
  std::array<std::int8_t, kGrain> line{};
  for (int y = 0; y < h; ++y) {
    const std::uint16_t* from = shown.luma_row(y);
    const std::int8_t* grain =
        grain_.data() + ((static_cast<std::size_t>(y) + oy) & (kGrain - 1)) * kGrain;
    std::copy(grain + ox, grain + kGrain, line.begin());
    std::copy(grain, grain + ox, line.begin() + static_cast<std::ptrdiff_t>(kGrain - ox));
    std::uint8_t* to = target.y.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(w);
    for (int x = 0; x < w; ++x) {
      to[x] = noisy(from[x], luma_noise_[from[x] >> 8U],
                    line[static_cast<std::size_t>(x) & (kGrain - 1)]);
    }
  }
  for (int y = 0; y < h / 2; ++y) {
    const std::uint16_t* from = shown.chroma_row(y);
    const std::uint16_t* luma = shown.luma_row(2 * y);
    const std::int8_t* a =
        grain_.data() + ((static_cast<std::size_t>(y) * 3U + oy + 500U) & (kGrain - 1)) * kGrain;
    const std::size_t row = static_cast<std::size_t>(y) * static_cast<std::size_t>(w / 2);
    for (int x = 0; x < w / 2; ++x) {
      const std::int32_t deviation = chroma_noise_[luma[2 * x] >> 8U];
      const auto at = (static_cast<std::size_t>(x) + ox) & (kGrain - 1);
      const auto other = (static_cast<std::size_t>(x) + ox + 331U) & (kGrain - 1);
      target.u[row + static_cast<std::size_t>(x)] = noisy(from[2 * x], deviation, a[at]);
      target.v[row + static_cast<std::size_t>(x)] = noisy(from[2 * x + 1], deviation, a[other]);
    }
  }
  if (picture_.mirror_scene) {
    for (auto* plane : {&target.y, &target.u, &target.v}) {
      const int scale = plane == &target.y ? 1 : 2;
      cv::Mat pixels(h / scale, w / scale, CV_8U, plane->data());
      cv::flip(pixels, pixels, 1);
    }
  }
  out.resize(picture_.width, picture_.height);
  turn_plane(target.y, w, h, picture_.rotation_deg, picture_.mirrored, out.y);
  turn_plane(target.u, w / 2, h / 2, picture_.rotation_deg, picture_.mirrored, out.u);
  turn_plane(target.v, w / 2, h / 2, picture_.rotation_deg, picture_.mirrored, out.v);
}

}  // namespace clipmaker
