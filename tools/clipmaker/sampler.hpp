// Draws all parameters of a clip at random, within the ranges a club range gives.
#pragma once

#include <cstdint>
#include <optional>

#include "rng.hpp"
#include "spec.hpp"
#include "stroke.hpp"

namespace clipmaker {

// What the caller fixes; everything else is drawn.
struct SampleOptions {
  int look = 0;  // 0: drawn
  double fps = 240.0;
  double before_s = -1.0;  // negative: drawn
  double after_s = -1.0;
  double second_after_s = 0.0;  // a second shot this long after the first loose; 0: none
  std::string kind = "shot";
  std::string world;             // of worlds.hpp; empty: arrows lie in the hand at random
  std::optional<Stroke> stroke;  // takes the place of what is drawn of bow, arrow and shot
};

// Moves the camera aside, by most_m at most, until the flight is seen past the upper limb, as
// whoever films does; keeps the best place when none of 80 is good.
void clear_the_limb(ClipSpec& spec, double most_m, Rng& rng);

// Clip `index` of the series `seed`: depends on nothing else.
ClipSpec sample(std::uint64_t seed, std::uint64_t index, const SampleOptions& options);

}  // namespace clipmaker
