// The still's few colours: told apart in lightness too, so that they survive colour blindness and a
// black-and-white printer; every use also has its own line style or label.
#pragma once

#include "canvas.hpp"

namespace nocktrail::picture {

inline constexpr Colour kInk{0.10, 0.11, 0.13};
inline constexpr Colour kSoftInk{0.33, 0.35, 0.38};
inline constexpr Colour kRule{0.72, 0.73, 0.75};
inline constexpr Colour kBandFill{0.90, 0.88, 0.80};
inline constexpr Colour kShaft{0.80, 0.30, 0.05};   // solid: the shaft as fitted
inline constexpr Colour kFlight{0.03, 0.25, 0.55};  // dashed: the direction of flight

}  // namespace nocktrail::picture
