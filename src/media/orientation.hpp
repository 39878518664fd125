// From the container's display matrix to the eight ways a picture can lie.
#pragma once

#include <array>
#include <cstdint>
#include <opencv2/core.hpp>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::media {

// The nine numbers of tkhd (ISO/IEC 14496-12, 8.3.2) in file order { a b u  c d v  x y w }; a
// stored point (p, q), y down, is shown at (a p + c q + x, b p + d q + y). The translation only
// puts the picture back into the positive quadrant and is not needed. Angles are rounded to the
// nearest quarter turn; a matrix that maps the picture to a line or a point counts as the identity.
Orientation orientation_from_matrix(const std::array<std::int32_t, 9>& matrix);

inline bool swaps_sides(const Orientation& orientation) {
  return orientation.rotation_deg % 180 != 0;
}

// display = transform(stored). `display` never shares memory with `stored`.
void apply_orientation(const cv::Mat& stored, const Orientation& orientation, cv::Mat& display);

// The largest part of a stored plane that holds whole blocks of block x block pixels, cut so that
// the blocks start at the top left corner of the *displayed* picture.
cv::Rect whole_blocks(const cv::Size& stored, int block, const Orientation& orientation);

}  // namespace nocktrail::media
