// The picture along a curve on which a limb may lie. Private to the room.
#pragma once

#include <cstddef>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/bow/limb.hpp"

namespace nocktrail::bow {

inline constexpr double kStation_m = 0.01;  // along the limb
inline constexpr double kLateral_m = 0.0015;
inline constexpr int kReach = 64;  // laterals to either side
inline constexpr int kLaterals = 2 * kReach + 1;
inline constexpr double kNoise = 1.2;  // of a gradient in a smooth picture, code values a pixel

struct Gradients {
  cv::Mat x, y;  // CV_32F, code values a pixel
};

Gradients gradients_of(const cv::Mat& grey);

// One curve with its neighbourhood: the gradient across it, by station and lateral.
struct Strip {
  LimbShape shape;
  int stations = 0;
  std::vector<float> across;  // stations x kLaterals
  std::vector<double> up_m;

  double at(int station, int lateral) const {
    return static_cast<double>(
        across[static_cast<std::size_t>(station) * kLaterals + static_cast<std::size_t>(lateral)]);
  }
};

// A limb's half width u metres up: wide below, narrow at the tip.
double half_width_m(double full_m, double up_m, double half_length_m);

// Up to where the limb would leave the picture, each gradient its mean over a hand's breadth along
// the limb: edges go on, texture does not.
Strip strip_along(const Gradients& gradients, const Place& place, const LimbShape& shape,
                  const LimbOptions& options);

// The strongest gradient of the sign given within some laterals of `at`, to a fraction of one.
std::optional<double> edge_near(const Strip& strip, int station, double at, double sign);

}  // namespace nocktrail::bow
