// The cant by a limb that a person marked.
#include <algorithm>
#include <cmath>
#include <limits>

#include "limb_fit.hpp"
#include "nocktrail/optics/camera.hpp"

namespace nocktrail::bow {
namespace {

constexpr double kMark_m = 0.004;  // 1 sigma of a mark
// A limb's width off the curve, or off its ends, is on something else.
constexpr double kMostOff_m = 0.04;
constexpr double kLeastSpan_m = 0.15;  // of bow between the lowest and the highest mark

struct Nearness {
  double sum_px2 = 0.0;
  double most_px2 = 0.0;
};

// How far up the bow the curve comes nearest to each of the marks, and how near.
Nearness lay_along(std::vector<Edges>& marks, const Place& place, const LimbShape& shape,
                   const LimbOptions& options) {
  constexpr double kStep_m = 0.005;
  Nearness near;
  for (Edges& mark : marks) {
    double least = std::numeric_limits<double>::max();
    for (double up_m = 0.0; up_m <= options.most_up_m; up_m += kStep_m) {
      const Eigen::Vector3d at_m = limb_point(place, shape, up_m, options.half_length_m);
      if (at_m.z() < 0.1) {
        continue;
      }
      const double off =
          (optics::project<double>(place.focal_px, place.principal_px, at_m) - mark.left_px)
              .squaredNorm();
      if (off < least) {
        least = off;
        mark.up_m = up_m;
      }
    }
    near.sum_px2 += least;
    near.most_px2 = std::max(near.most_px2, least);
  }
  return near;
}

}  // namespace

std::optional<SeenLimb> limb_of_marks(const std::vector<Eigen::Vector2d>& points_px,
                                      const Place& place, LimbOptions options) {
  std::vector<Edges> marks;
  marks.reserve(points_px.size());
  for (const Eigen::Vector2d& point : points_px) {
    marks.push_back({0.0, point, point});
  }
  const double px_per_m = place.focal_px / std::max(place.rest_m.norm(), 0.5);
  options.least_residual_px = kMark_m * px_per_m;
  options.alike = 1.0;
  LimbShape start;
  double least = std::numeric_limits<double>::max();
  constexpr double kStep_rad = 0.02;
  for (double cant = -options.widest_cant_rad; cant <= options.widest_cant_rad; cant += kStep_rad) {
    LimbShape tried;
    tried.cant_rad = cant;
    tried.back_m = options.back_m;
    if (const double off = lay_along(marks, place, tried, options).sum_px2; off < least) {
      least = off;
      start = tried;
    }
  }
  LimbFit fit;
  fit.shape = start;
  constexpr int kRounds = 4;
  for (int round = 0; round < kRounds; ++round) {
    lay_along(marks, place, fit.shape, options);
    fit = fit_limb(marks, place, fit.shape, options);
  }
  const double most_off_px = std::sqrt(lay_along(marks, place, fit.shape, options).most_px2);
  std::sort(marks.begin(), marks.end(),
            [](const Edges& a, const Edges& b) { return a.up_m < b.up_m; });
  if (most_off_px > kMostOff_m * px_per_m ||
      marks.back().up_m - marks.front().up_m < kLeastSpan_m) {
    return std::nullopt;
  }
  SeenLimb limb;
  limb.shape = fit.shape;
  limb.cant_sigma_rad = std::hypot(fit.cant_sigma_rad, options.own_error_rad);
  limb.edges = std::move(marks);
  return limb;
}

}  // namespace nocktrail::bow
