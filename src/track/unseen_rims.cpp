#include <algorithm>
#include <cmath>
#include <numeric>

#include "nocktrail/track/painted.hpp"
#include "shaft_common.hpp"

namespace nocktrail::track {
namespace {

// How well each value of the paint can be told from what lies behind it: squared contrast over the
// mean of the whole arrow, at most 1, in the mean over the frames. One that shows the arrow larger
// counts for more.
std::vector<double> visibility(const PaintedArrow& arrow, const std::vector<ShaftProfile>& profiles,
                               const PaintedPlaces& places) {
  const std::size_t n = arrow.grey.size();
  std::vector<double> visible(n, 0.0);
  double weights = 1e-12;
  std::vector<double> squares(n);
  for (std::size_t k = 0; k < profiles.size(); ++k) {
    if (!places[k]) {
      continue;
    }
    const ShaftProfile& profile = profiles[k];
    const double length = profile.length_px();
    const double nock = places[k]->off[PaintedPlace::kNockAlong];
    const double chord = length + places[k]->off[PaintedPlace::kTipAlong] - nock;
    for (std::size_t i = 0; i < n; ++i) {
      const double share = arrow.first + arrow.step * (static_cast<double>(i) + 0.5);
      const double at = nock + chord * fraction_of(share, profile.expected.depth_ratio);
      squares[i] = std::pow(arrow.grey[i] - level_at(profile.background, profile.first_px, at), 2);
    }
    const double mean =
        std::accumulate(squares.begin(), squares.end(), 1e-9) / static_cast<double>(n);
    const double weight = length * length;
    weights += weight;
    for (std::size_t i = 0; i < n; ++i) {
      visible[i] += weight * std::min(1.0, squares[i] / mean);
    }
  }
  for (double& v : visible) {
    v /= weights;
  }
  return visible;
}

}  // namespace

std::optional<ShorterArrow> without_unseen_rims(const PaintedArrow& arrow,
                                                const std::vector<ShaftProfile>& profiles,
                                                const PaintedPlaces& places) {
  constexpr double kUnseen = 0.25;
  constexpr double kLeastRim = 0.03;  // share; a nock or a point alone is as long
  const std::vector<double> visible = visibility(arrow, profiles, places);
  const auto seen = [](double v) { return v >= kUnseen; };
  const auto third = static_cast<std::ptrdiff_t>(visible.size() / 3);
  const auto first = std::find_if(visible.begin(), visible.begin() + third, seen);
  const auto last = std::find_if(visible.rbegin(), visible.rbegin() + third, seen);
  const double begin = arrow.first + arrow.step * static_cast<double>(first - visible.begin());
  const double end = arrow.first + arrow.step * static_cast<double>(visible.rend() - last);
  if (begin - arrow.begin < kLeastRim && arrow.end - end < kLeastRim) {
    return std::nullopt;
  }
  ShorterArrow shorter{arrow, PaintedPlaces(places.size())};
  shorter.arrow.grey.assign(arrow.grey.begin() + (first - visible.begin()),
                            arrow.grey.begin() + (visible.rend() - last));
  shorter.arrow.first = begin;
  shorter.arrow.begin = begin;
  shorter.arrow.end = end;
  shorter.arrow = stretched_to_ends(std::move(shorter.arrow));
  for (std::size_t k = 0; k < profiles.size(); ++k) {
    if (!places[k]) {
      continue;
    }
    using Place = PaintedPlace;
    const Eigen::Vector4d& off = places[k]->off;
    const double length = profiles[k].length_px();
    const double chord = length + off[Place::kTipAlong] - off[Place::kNockAlong];
    const double from = fraction_of(begin, profiles[k].expected.depth_ratio);
    const double to = fraction_of(end, profiles[k].expected.depth_ratio);
    const double lean = off[Place::kTipAcross] - off[Place::kNockAcross];
    Place place;
    place.off[Place::kNockAlong] = off[Place::kNockAlong] + from * chord;
    place.off[Place::kTipAlong] = off[Place::kNockAlong] + to * chord - length;
    place.off[Place::kNockAcross] = off[Place::kNockAcross] + from * lean;
    place.off[Place::kTipAcross] = off[Place::kNockAcross] + to * lean;
    shorter.places[k] = place;
  }
  return shorter;
}

}  // namespace nocktrail::track
