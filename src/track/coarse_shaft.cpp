#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>

#include "shaft_common.hpp"

namespace nocktrail::track {
namespace {

struct ChangedPixel {
  Eigen::Vector2d at;
  double weight;
};

// Between two distances from the vanishing point, in the fan that a yawed shaft may take.
std::vector<ChangedPixel> changed_pixels(const Region& region, std::size_t frame,
                                         const Sweep& sweep, double s_far, double s_near,
                                         double changed_sigma) {
  const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  std::vector<ChangedPixel> pixels;
  const cv::Mat& d = region.difference[frame];
  const cv::Point part = region.corner_of(frame);
  for (int y = 1; y + 1 < d.rows; ++y) {
    for (int x = 1; x + 1 < d.cols; ++x) {
      const Eigen::Vector2d at = Eigen::Vector2d(x + part.x, y + part.y) + corner;
      const Eigen::Vector2d from_vp = at - sweep.vanishing_px;
      const double s = from_vp.dot(sweep.outward);
      if (s < s_far || s > s_near || std::abs(from_vp.dot(side)) > 4.0 + 0.14 * s) {
        continue;
      }
      // Two by one means keep lone noisy pixels out.
      const float here = d.at<float>(y, x);
      const float around = std::max(
          {std::abs(here + d.at<float>(y - 1, x)), std::abs(here + d.at<float>(y + 1, x)),
           std::abs(here + d.at<float>(y, x - 1)), std::abs(here + d.at<float>(y, x + 1))});
      const double z = static_cast<double>(around) /
                       (1.4 * static_cast<double>(region.sigma.at<float>(y + part.y, x + part.x)));
      if (z > changed_sigma) {
        pixels.push_back({at, std::min(z, 12.0)});
      }
    }
  }
  return pixels;
}

struct HeavyLine {
  double score = 0.0;
  Eigen::Vector2d at = Eigen::Vector2d::Zero();
  Eigen::Vector2d along = Eigen::Vector2d::Zero();  // toward the nock
};

// The line with most weight: pairs of pixels in a fixed stride, so that the result does not depend
// on a random draw.
HeavyLine heaviest_line(const std::vector<ChangedPixel>& pixels, const Eigen::Vector2d& outward,
                        double least_apart) {
  HeavyLine best;
  const std::size_t stride = std::max<std::size_t>(1, pixels.size() / 50);
  for (std::size_t i = 0; i < pixels.size(); i += stride) {
    for (std::size_t j = i + 1 + i % stride; j < pixels.size(); j += stride) {
      const Eigen::Vector2d step = pixels[j].at - pixels[i].at;
      const double apart = step.norm();
      if (apart < least_apart) {
        continue;
      }
      const Eigen::Vector2d along = step / apart;
      if (std::abs(along.dot(outward)) < 0.75) {
        continue;
      }
      double score = 0.0;
      for (std::size_t m = 0; m < pixels.size();
           m += std::max<std::size_t>(1, pixels.size() / 400)) {
        const Eigen::Vector2d off = pixels[m].at - pixels[i].at;
        const double beside = std::abs(off.x() * along.y() - off.y() * along.x());
        score += beside < 1.6 ? pixels[m].weight * (1.0 - beside / 1.6) : 0.0;
      }
      if (score > best.score) {
        best = {score, pixels[i].at, along.dot(outward) > 0 ? along : Eigen::Vector2d(-along)};
      }
    }
  }
  return best;
}

struct Chain {
  double first = 0.0;
  double last = 0.0;
};

// The longest run of places without a gap.
Chain longest_chain(std::vector<double> places, double gap) {
  std::sort(places.begin(), places.end());
  Chain best;
  for (std::size_t first = 0; first < places.size();) {
    std::size_t last = first;
    while (last + 1 < places.size() && places[last + 1] - places[last] < gap) {
      ++last;
    }
    if (places[last] - places[first] > best.last - best.first) {
      best = {places[first], places[last]};
    }
    first = last + 1;
  }
  return best;
}

}  // namespace

std::optional<CoarseShaft> coarse_shaft(const Region& region, std::size_t frame, const Sweep& sweep,
                                        double t_s, const ShaftOptions& options) {
  const double inverse = sweep.inverse_start + sweep.inverse_rate * t_s;
  const double reach = sweep.inverse_rate * sweep.cover_s;
  if (inverse - reach < 1e-4 || region.difference[frame].empty()) {
    return std::nullopt;
  }
  const double s_far = 1.0 / (inverse + 1.1 * reach);
  const double s_near = std::min(1.0 / std::max(inverse - 1.1 * reach, 1e-3), 3.0 / inverse);
  const std::vector<ChangedPixel> pixels =
      changed_pixels(region, frame, sweep, s_far, s_near, options.changed_sigma);
  if (pixels.size() < 6) {
    return std::nullopt;
  }
  const double expected = s_near - s_far;
  const HeavyLine line = heaviest_line(pixels, sweep.outward, std::max(4.0, 0.2 * expected));
  if (line.score <= 0.0) {
    return std::nullopt;
  }
  std::vector<double> places;
  for (const ChangedPixel& pixel : pixels) {
    const Eigen::Vector2d off = pixel.at - line.at;
    if (std::abs(off.x() * line.along.y() - off.y() * line.along.x()) < 1.8) {
      places.push_back(off.dot(line.along));
    }
  }
  const Chain chain = longest_chain(std::move(places), std::max(3.5, 0.12 * expected));
  if (chain.last - chain.first < std::max(4.0, 0.15 * expected)) {
    return std::nullopt;
  }
  return CoarseShaft{line.at + line.along * chain.last, line.at + line.along * chain.first};
}

}  // namespace nocktrail::track
