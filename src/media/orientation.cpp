#include "orientation.hpp"

#include <cmath>
#include <numbers>

namespace nocktrail::media {

Orientation orientation_from_matrix(const std::array<std::int32_t, 9>& matrix) {
  double a = matrix[0];
  double b = matrix[1];
  const double c = matrix[3];
  const double d = matrix[4];
  const double determinant = a * d - b * c;
  Orientation orientation;
  if (determinant == 0.0) {
    return orientation;
  }
  orientation.mirrored = determinant < 0.0;
  if (orientation.mirrored) {
    // matrix = turn * mirror and the mirror only negates p, so the turn's first column is (-a, -b).
    a = -a;
    b = -b;
  }
  // y points down: a turn that takes +p to +q is clockwise on the screen.
  const double quarter_turns = std::atan2(b, a) / (std::numbers::pi / 2.0);
  orientation.rotation_deg = ((static_cast<int>(std::lround(quarter_turns)) + 4) % 4) * 90;
  return orientation;
}

void apply_orientation(const cv::Mat& stored, const Orientation& orientation, cv::Mat& display) {
  const int turn = orientation.rotation_deg;
  if (!orientation.mirrored) {
    if (turn == 0) {
      stored.copyTo(display);
    } else if (turn == 90) {
      cv::rotate(stored, display, cv::ROTATE_90_CLOCKWISE);
    } else if (turn == 180) {
      cv::rotate(stored, display, cv::ROTATE_180);
    } else {
      cv::rotate(stored, display, cv::ROTATE_90_COUNTERCLOCKWISE);
    }
    return;
  }
  if (turn == 0) {
    cv::flip(stored, display, 1);
  } else if (turn == 180) {
    cv::flip(stored, display, 0);
  } else {
    cv::transpose(stored, display);
    if (turn == 90) {
      cv::flip(display, display, -1);
    }
  }
}

cv::Rect whole_blocks(const cv::Size& stored, int block, const Orientation& orientation) {
  cv::Rect part(0, 0, stored.width - stored.width % block, stored.height - stored.height % block);
  // Where does the displayed top left corner lie in the stored picture? The turn alone brings these
  // corners there; the mirror before it swaps left and right.
  const int turn = orientation.rotation_deg;
  bool from_right = turn == 180 || turn == 270;
  const bool from_bottom = turn == 180 || turn == 90;
  if (orientation.mirrored) {
    from_right = !from_right;
  }
  if (from_right) {
    part.x = stored.width - part.width;
  }
  if (from_bottom) {
    part.y = stored.height - part.height;
  }
  return part;
}

}  // namespace nocktrail::media
