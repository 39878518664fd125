// Shot and read noise, and the turn from the displayed to the stored picture.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "encode.hpp"
#include "picture.hpp"
#include "rng.hpp"
#include "spec.hpp"

namespace clipmaker {

class Sensor {
 public:
  Sensor(const SensorSpec& spec, const PictureSpec& picture, std::uint64_t seed);
  void store(const Picture& shown, StoredFrame& out);

 private:
  PictureSpec picture_;
  Rng rng_;
  std::vector<std::int8_t> grain_;                // unit noise times 32, kGrain x kGrain, tiles
  std::array<std::int32_t, 256> luma_noise_{};    // standard deviation by code value, 8.8
  std::array<std::int32_t, 256> chroma_noise_{};  // by luma code value, 8.8
  StoredFrame upright_;
};

}  // namespace clipmaker
