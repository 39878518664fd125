#include "limb_in_the_way.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "nocktrail/optics/camera.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr double kLimbHalf_m = 0.018;  // limbs are 25-50 mm wide, and narrower upward
constexpr double kSlack_m = 0.010;     // half a shaft, and what a hand-held phone strays
constexpr double kFrom_m = 0.5;        // of the arrow's middle past the rest
constexpr double kTo_m = 4.0;
constexpr int kSteps = 24;

// The limb's point that is seen at a picture's row, by bisection along the limb; empty beyond it.
std::optional<Eigen::Vector3d> limb_at_row(const bow::Place& place, const bow::LimbShape& shape,
                                           double row_px) {
  const double half_length_m = bow::LimbOptions{}.half_length_m;
  const auto row_of = [&](double up_m) {
    return optics::project<double>(place.focal_px, place.principal_px,
                                   bow::limb_point(place, shape, up_m, half_length_m))
        .y();
  };
  double low_m = 0.0;
  double high_m = half_length_m;
  if (row_px > row_of(low_m) || row_px < row_of(high_m)) {
    return std::nullopt;
  }
  for (int i = 0; i < 30; ++i) {
    const double middle_m = 0.5 * (low_m + high_m);
    (row_of(middle_m) > row_px ? low_m : high_m) = middle_m;
  }
  return bow::limb_point(place, shape, 0.5 * (low_m + high_m), half_length_m);
}

}  // namespace

LimbInTheWay limb_in_the_way(const ShotAnalysis& analysis) {
  LimbInTheWay in_the_way;
  if (!analysis.limb || !analysis.stroke) {
    return in_the_way;
  }
  const bow::Place place = bow::place_of(analysis.fit, *analysis.stroke);
  const double speed_mps = std::exp(analysis.fit.parameters[flight::kLogSpeed]);
  int looked_at = 0;
  int hidden = 0;
  double aside_sum_m =
      0.0;  // of the line of sight to the arrow from the limb's middle, at the limb
  double per_metre_sum = 0.0;  // how far the line of sight moves there for a metre of the phone
  for (int i = 0; i <= kSteps; ++i) {
    const double past_m = kFrom_m + (kTo_m - kFrom_m) * i / kSteps;
    const flight::ArrowState<double> state =
        flight::state_of(analysis.fit, analysis.stroke->exit_s + past_m / speed_mps);
    if (state.centre_m.z() < 0.3) {
      continue;
    }
    ++looked_at;
    const Eigen::Vector2d seen =
        optics::project<double>(place.focal_px, place.principal_px, state.centre_m);
    const auto limb = limb_at_row(place, analysis.limb->shape, seen.y());
    if (!limb || limb->z() >= state.centre_m.z()) {
      continue;
    }
    const double limb_px = optics::project<double>(place.focal_px, place.principal_px, *limb).x();
    const double aside_m = (seen.x() - limb_px) * limb->z() / place.focal_px;
    if (std::abs(aside_m) < kLimbHalf_m + kSlack_m) {
      ++hidden;
      aside_sum_m += aside_m;
      per_metre_sum += 1.0 - limb->z() / state.centre_m.z();
    }
  }
  if (hidden == 0) {
    return in_the_way;
  }
  in_the_way.share = static_cast<double>(hidden) / looked_at;
  const double aside_m = aside_sum_m / hidden;
  const double per_metre = std::max(per_metre_sum / hidden, 0.2);
  const double needed_m = (kLimbHalf_m + kSlack_m - std::abs(aside_m)) / per_metre;
  // The phone goes to the side on which the arrow shows: the near limb then moves off the other
  // way.
  in_the_way.move_right_m = aside_m > 0.0 ? needed_m : -needed_m;
  return in_the_way;
}

}  // namespace nocktrail::pipeline
