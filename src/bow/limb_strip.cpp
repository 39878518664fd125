#include "limb_strip.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "nocktrail/optics/camera.hpp"

namespace nocktrail::bow {
namespace {

Strip along_mean(const Strip& strip) {
  constexpr int kEitherSide = 3;
  Strip mean = strip;
  for (int j = 0; j < kLaterals; ++j) {
    double sum = 0.0;
    int count = 0;
    for (int i = -kEitherSide; i < strip.stations; ++i) {
      if (i + kEitherSide < strip.stations) {
        sum += strip.at(i + kEitherSide, j);
        ++count;
      }
      if (i - kEitherSide - 1 >= 0) {
        sum -= strip.at(i - kEitherSide - 1, j);
        --count;
      }
      if (i >= 0) {
        mean.across[static_cast<std::size_t>(i) * kLaterals + static_cast<std::size_t>(j)] =
            static_cast<float>(sum / count);
      }
    }
  }
  return mean;
}

}  // namespace

Gradients gradients_of(const cv::Mat& grey) {
  cv::Mat smooth;
  grey.convertTo(smooth, CV_32F);
  cv::GaussianBlur(smooth, smooth, {}, 1.2);
  Gradients gradients;
  constexpr double kScharr = 1.0 / 32.0;  // the kernel's weights, so that it is per pixel
  cv::Scharr(smooth, gradients.x, CV_32F, 1, 0, kScharr);
  cv::Scharr(smooth, gradients.y, CV_32F, 0, 1, kScharr);
  return gradients;
}

double half_width_m(double full_m, double up_m, double half_length_m) {
  const double x = std::min(up_m / half_length_m, 1.0);
  return 0.5 * full_m * (1.0 - 0.6 * x * x);
}

Strip strip_along(const Gradients& gradients, const Place& place, const LimbShape& shape,
                  const LimbOptions& options) {
  Strip strip;
  strip.shape = shape;
  const int width = gradients.x.cols;
  const int height = gradients.x.rows;
  const Eigen::Vector3d across =
      place.right * std::cos(shape.cant_rad) + place.down * std::sin(shape.cant_rad);
  for (double up = options.least_up_m; up < options.most_up_m; up += kStation_m) {
    const Eigen::Vector3d middle = limb_point(place, shape, up, options.half_length_m);
    const Eigen::Vector3d next = limb_point(place, shape, up + kStation_m, options.half_length_m);
    if (middle.z() < 0.3 || next.z() < 0.3) {
      break;
    }
    const auto seen = [&](const Eigen::Vector3d& point) {
      return optics::project<double>(place.focal_px, place.principal_px, point);
    };
    const Eigen::Vector2d at = seen(middle);
    const Eigen::Vector2d along = (seen(next) - at).normalized();
    const Eigen::Vector2d normal(-along.y(), along.x());  // to the right of the way up
    const Eigen::Vector2d step = (seen(middle + across * kLateral_m) - at);
    if (!(at.x() >= 0 && at.y() >= 0 && at.x() < width && at.y() < height)) {
      break;
    }
    strip.up_m.push_back(up);
    ++strip.stations;
    for (int j = -kReach; j <= kReach; ++j) {
      const int x = static_cast<int>(std::lround(at.x() + j * step.x()));
      const int y = static_cast<int>(std::lround(at.y() + j * step.y()));
      const bool inside = x >= 0 && y >= 0 && x < width && y < height;
      strip.across.push_back(
          inside
              ? static_cast<float>(static_cast<double>(gradients.x.at<float>(y, x)) * normal.x() +
                                   static_cast<double>(gradients.y.at<float>(y, x)) * normal.y())
              : 0.0F);
    }
  }
  return along_mean(strip);
}

std::optional<double> edge_near(const Strip& strip, int station, double at, double sign) {
  constexpr int kAround = 4;  // 6 mm
  int best = -1;
  double most = 0.0;
  const int middle = static_cast<int>(std::lround(at));
  for (int j = std::max(1, middle - kAround); j <= std::min(kLaterals - 2, middle + kAround); ++j) {
    const double g = sign * strip.at(station, j);
    if (g > most) {
      most = g;
      best = j;
    }
  }
  if (best < 0 || most < kNoise) {
    return std::nullopt;
  }
  const double before = sign * strip.at(station, best - 1);
  const double after = sign * strip.at(station, best + 1);
  const double bend = before - 2.0 * most + after;
  const double off = bend < 0.0 ? 0.5 * (before - after) / bend : 0.0;
  return best + std::clamp(off, -0.5, 0.5);
}

}  // namespace nocktrail::bow
