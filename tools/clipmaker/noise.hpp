// Procedural texture noise (value noise on a hashed lattice) for surfaces of the scene.
#pragma once

#include <cstdint>

namespace clipmaker {

// Smooth noise in [-1, 1] with lattice spacing 1.
float value_noise(float x, float y, std::uint32_t seed);
float value_noise3(float x, float y, float z, std::uint32_t seed);

// Sum of octaves, each half the size and `gain` times the strength of the one before. Octaves
// smaller than `footprint` (size of a pixel on the surface, in lattice units) fade out, so that
// distant ground does not alias.
float fractal_noise(float x, float y, int octaves, float gain, float footprint, std::uint32_t seed);

}  // namespace clipmaker
