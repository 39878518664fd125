#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

#include "sort_stack.hpp"

namespace nocktrail::track {
namespace {

// Light of an 8-bit code value, 255 at white: inverse of the BT.709 transfer curve (Rec. ITU-R
// BT.709-6, item 1.2) in limited range. Phones bend it a little; the rest of it is right.
std::array<float, 256> light_of_code() {
  std::array<float, 256> light{};
  for (std::size_t code = 0; code < light.size(); ++code) {
    const double v = std::clamp((static_cast<double>(code) - 16.0) / 219.0, 0.0, 1.1);
    const double linear = v < 0.081 ? v / 4.5 : std::pow((v + 0.099) / 1.099, 1.0 / 0.45);
    light[code] = static_cast<float>(255.0 * linear);
  }
  return light;
}

// What is usual in each place, and how far it strays by itself, in code values.
void learn_still(const std::vector<cv::Mat>& steadied, std::size_t first, std::size_t last,
                 double grey_floor, Region& region) {
  // Enough frames for a median, evenly spread, in an odd number.
  constexpr std::size_t kMost = 33;
  const std::size_t n = std::min(last - first, kMost);
  const cv::Size cut = region.roi.size();
  region.background.create(cut, CV_32F);
  region.sigma.create(cut, CV_32F);
  constexpr int kStripRows = 16;
  const int strips = (cut.height + kStripRows - 1) / kStripRows;
  cv::parallel_for_(cv::Range(0, strips), [&](const cv::Range& range) {
    for (int strip = range.start; strip < range.end; ++strip) {
      const cv::Range rows(strip * kStripRows, std::min(cut.height, (strip + 1) * kStripRows));
      std::vector<cv::Mat> stack;
      for (std::size_t i = 0; i < n; ++i) {
        const std::size_t k = first + (n > 1 ? i * (last - first - 1) / (n - 1) : 0);
        stack.push_back(steadied[k](region.roi).rowRange(rows).clone());
      }
      sort_stack(stack);
      // The mean of the middle half: finer than a median of whole code values, as robust here.
      cv::Mat sum = cv::Mat::zeros(stack.front().size(), CV_32F);
      const std::size_t low = n / 4;
      const std::size_t high = n - 1 - n / 4;
      for (std::size_t i = low; i <= high; ++i) {
        cv::add(sum, stack[i], sum, cv::noArray(), CV_32F);
      }
      sum.convertTo(region.background.rowRange(rows), CV_32F,
                    1.0 / static_cast<double>(high - low + 1));
      cv::Mat spread;
      cv::subtract(stack[high], stack[low], spread);
      spread.convertTo(region.sigma.rowRange(rows), CV_32F, 1.0 / 1.349);
    }
  });
  cv::boxFilter(region.sigma, region.sigma, CV_32F, cv::Size(7, 7));
  cv::max(region.sigma, grey_floor, region.sigma);
}

// During the exposure a moving end mixes with its background in light, not in code values, and
// half-way in code values is not half-way along the smear.
void into_light(const std::array<float, 256>& light, Region& region) {
  for (int y = 0; y < region.roi.height; ++y) {
    auto* level = region.background.ptr<float>(y);
    auto* noise = region.sigma.ptr<float>(y);
    for (int x = 0; x < region.roi.width; ++x) {
      const auto code = static_cast<std::size_t>(std::clamp(level[x], 0.0F, 254.0F));
      const float slope = light[code + 1] - light[code];
      noise[x] *= std::max(slope, 0.15F);
      level[x] = light[code] + (level[x] - static_cast<float>(code)) * slope;
    }
  }
}

// A background that is off by a fraction of a pixel (camera motion not fully taken out, parallax of
// near things) shows at its edges.
void add_slip(double edge_slip_px, Region& region) {
  cv::Mat gx;
  cv::Mat gy;
  cv::Sobel(region.background, gx, CV_32F, 1, 0, 3, edge_slip_px / 8.0);
  cv::Sobel(region.background, gy, CV_32F, 0, 1, 3, edge_slip_px / 8.0);
  cv::Mat slip;
  cv::magnitude(gx, gy, slip);
  cv::magnitude(region.sigma, slip, region.sigma);
}

}  // namespace

cv::Rect region_of(const Sweep& sweep, const cv::Size& size) {
  const cv::Rect whole(0, 0, size.width, size.height);
  const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
  double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9;
  auto include = [&](const Eigen::Vector2d& p) {
    left = std::min(left, p.x());
    right = std::max(right, p.x());
    top = std::min(top, p.y());
    bottom = std::max(bottom, p.y());
  };
  // The path until it leaves the picture.
  for (double s = 0.0; s < std::hypot(size.width, size.height); s += 4.0) {
    const Eigen::Vector2d centre = sweep.vanishing_px + sweep.outward * s;
    if (centre.x() < -20 || centre.y() < -20 || centre.x() > size.width + 20 ||
        centre.y() > size.height + 20) {
      if (s > 40.0) {
        break;
      }
      continue;
    }
    const double half = 14.0 + 0.17 * s;
    include(centre + side * half);
    include(centre - side * half);
    include(centre - sweep.outward * 14.0);
  }
  const cv::Rect roi =
      cv::Rect(cv::Point(static_cast<int>(left), static_cast<int>(top)),
               cv::Point(static_cast<int>(right) + 1, static_cast<int>(bottom) + 1)) &
      whole;
  return roi.width < 16 || roi.height < 16 ? whole : roi;
}

cv::Rect part_at(const Sweep& sweep, double t_s, const cv::Rect& roi) {
  // From the vanishing point to well beyond the middle of the arrow: the nock of one that has just
  // left stands a quarter further out, the sweep may be a few frames off, and the noise beside the
  // arrow tells what counts as a sight of it.
  constexpr double kFurther = 5.0;
  constexpr double kMargin_px = 60.0;
  const double inverse = sweep.inverse_start + sweep.inverse_rate * t_s;
  if (!(inverse > 0.0)) {
    return roi;
  }
  const Eigen::Vector2d end = sweep.vanishing_px + sweep.outward * (kFurther / inverse);
  const double half = kMargin_px + 0.17 * kFurther / inverse;
  const Eigen::Vector2d low = end.cwiseMin(sweep.vanishing_px).array() - half;
  const Eigen::Vector2d high = end.cwiseMax(sweep.vanishing_px).array() + half;
  const Eigen::Vector2d first = low.cwiseMax(Eigen::Vector2d(roi.x, roi.y));
  const Eigen::Vector2d last = high.cwiseMin(Eigen::Vector2d(roi.br().x, roi.br().y));
  return (last - first).minCoeff() < 2.0
             ? cv::Rect()
             : cv::Rect(cv::Point(static_cast<int>(first.x()), static_cast<int>(first.y())),
                        cv::Point(static_cast<int>(last.x()), static_cast<int>(last.y())));
}

Region cut_region(const std::vector<cv::Mat>& steadied, const cv::Rect& roi, std::size_t first,
                  std::size_t last, const std::vector<cv::Rect>& used,
                  const ShaftOptions& options) {
  Region region;
  region.roi = roi;
  learn_still(steadied, first, last, options.grey_floor, region);
  // From here on in linear light.
  const std::array<float, 256> light = light_of_code();
  into_light(light, region);
  add_slip(options.edge_slip_px, region);
  region.difference.resize(steadied.size());
  region.corner.resize(steadied.size());
  const auto frames = static_cast<int>(std::min(used.size(), steadied.size()));
  cv::parallel_for_(cv::Range(0, frames), [&](const cv::Range& range) {
    for (auto k = static_cast<std::size_t>(range.start); k < static_cast<std::size_t>(range.end);
         ++k) {
      const cv::Rect part = used[k] & roi;
      if (part.empty()) {
        continue;
      }
      region.corner[k] = part.tl() - roi.tl();
      const cv::Mat shown = steadied[k](part);
      const cv::Mat still = region.background(part - roi.tl());
      cv::Mat& difference = region.difference[k];
      difference.create(part.size(), CV_32F);
      for (int y = 0; y < part.height; ++y) {
        const auto* code = shown.ptr<std::uint8_t>(y);
        const auto* behind = still.ptr<float>(y);
        auto* left = difference.ptr<float>(y);
        for (int x = 0; x < part.width; ++x) {
          left[x] = light[code[x]] - behind[x];
        }
      }
    }
  });
  return region;
}

}  // namespace nocktrail::track
