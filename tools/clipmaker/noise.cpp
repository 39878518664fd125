#include "noise.hpp"

#include <cmath>

namespace clipmaker {
namespace {

std::uint32_t hash(std::uint32_t x, std::uint32_t y, std::uint32_t z, std::uint32_t seed) {
  std::uint32_t h = x * 0x8DA6B343U ^ y * 0xD8163841U ^ z * 0xCB1AB31FU ^ seed * 0x9E3779B9U;
  h ^= h >> 15U;
  h *= 0x2C1B3C6DU;
  h ^= h >> 12U;
  h *= 0x297A2D39U;
  h ^= h >> 15U;
  return h;
}

float lattice(int x, int y, int z, std::uint32_t seed) {
  const std::uint32_t h = hash(static_cast<std::uint32_t>(x), static_cast<std::uint32_t>(y),
                               static_cast<std::uint32_t>(z), seed);
  return static_cast<float>(h >> 8U) * (2.0F / 16777216.0F) - 1.0F;
}

float smooth(float t) {
  return t * t * (3.0F - 2.0F * t);
}

float plane_noise(float x, float y, int iz, std::uint32_t seed) {
  const float fx = std::floor(x);
  const float fy = std::floor(y);
  const int ix = static_cast<int>(fx);
  const int iy = static_cast<int>(fy);
  const float tx = smooth(x - fx);
  const float ty = smooth(y - fy);
  const float top = lattice(ix, iy, iz, seed) * (1.0F - tx) + lattice(ix + 1, iy, iz, seed) * tx;
  const float bottom =
      lattice(ix, iy + 1, iz, seed) * (1.0F - tx) + lattice(ix + 1, iy + 1, iz, seed) * tx;
  return top * (1.0F - ty) + bottom * ty;
}

}  // namespace

float value_noise(float x, float y, std::uint32_t seed) {
  return plane_noise(x, y, 0, seed);
}

float value_noise3(float x, float y, float z, std::uint32_t seed) {
  const float fz = std::floor(z);
  const int iz = static_cast<int>(fz);
  const float t = smooth(z - fz);
  return plane_noise(x, y, iz, seed) * (1.0F - t) + plane_noise(x, y, iz + 1, seed) * t;
}

float fractal_noise(float x, float y, int octaves, float gain, float footprint,
                    std::uint32_t seed) {
  float sum = 0.0F;
  float amplitude = 1.0F;
  float scale = 1.0F;
  for (int i = 0; i < octaves; ++i) {
    const float cell_px = 1.0F / (footprint * scale + 1e-6F);
    if (cell_px < 1.0F) {
      break;
    }
    const float fade = cell_px > 2.0F ? 1.0F : cell_px - 1.0F;
    sum += fade * amplitude *
           value_noise(x * scale, y * scale, seed + static_cast<std::uint32_t>(i) * 101U);
    amplitude *= gain;
    scale *= 2.03F;
  }
  return sum;
}

}  // namespace clipmaker
