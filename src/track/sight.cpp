#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>

#include "nocktrail/median.hpp"
#include "shaft_common.hpp"
#include "smear.hpp"

namespace nocktrail::track {
namespace {

// Where the shaft ends, coming from outside. Coordinates grow outward: `level` gives the matched
// contrast and its rise across at outward coordinate o, the expected end is at 0, inside is
// negative. The sign of the contrast is no guide: a light crest band or nock on a dark shaft
// crosses zero without an end. Where a lit and a shaded side cancel, the rise across the shaft
// still shows it.
struct Edge {
  double at = 0.0;
  double sigma = 0.0;
};

template <typename Level>
std::optional<Edge> find_edge(const Level& level, double tilt_weight, double inside_px,
                              double search_px, double noise, const ShaftOptions& options) {
  const auto strength = [&](double o) {
    const auto low = level(o - 0.5);
    const auto mid = level(o);
    const auto high = level(o + 0.5);
    return std::hypot(low.first + mid.first + high.first,
                      tilt_weight * (low.second + mid.second + high.second)) /
           3.0;
  };
  std::vector<double> inner;
  const double from = std::max(2.0, 0.4 * search_px);
  for (double o = -from - std::max(4.0, inside_px); o <= -from; o += 1.0) {
    inner.push_back(strength(o));
  }
  const double plateau = upper_median(inner);
  if (plateau < options.least_contrast_sigma * noise) {
    return std::nullopt;
  }
  const double threshold = std::max(3.5 * noise, 0.3 * plateau);
  constexpr double kStep = 0.25;
  const double start = search_px + 3.0;
  if (strength(start) > threshold || strength(start - 1.0) > threshold) {
    return std::nullopt;  // something else begins there
  }
  for (double o = start; o >= -search_px; o -= kStep) {
    if (strength(o) < threshold) {
      continue;
    }
    const int inward = (strength(o - 1.0) > threshold) + (strength(o - 2.0) > threshold) +
                       (strength(o - 3.0) > threshold);
    if (inward < 2) {
      continue;
    }
    if (o > search_px) {
      return std::nullopt;
    }
    // Half of what stands just inside.
    const double inside = std::max({strength(o - 1.0), strength(o - 2.0), strength(o - 3.0)});
    double at = o - 2.0;
    while (at < o + 3.0 && strength(at) > 0.5 * inside) {
      at += 0.1;
    }
    double upper = at;
    while (upper > at - 8.0 && strength(upper) < 0.8 * inside) {
      upper -= 0.1;
    }
    Edge edge;
    edge.at = at;
    const double fall = 2.5 * (at - upper);
    edge.sigma = std::hypot(options.end_floor_px, fall * noise / inside, 0.1 * fall);
    return edge;
  }
  return std::nullopt;
}

// Sums over the pixels of a few columns of a profile's patch, for bars of any contrast p and any
// rise `side` of the grey across: the squared residual of y - p t - side o.
struct BlockSums {
  double tt = 0.0, ty = 0.0, to = 0.0, yy = 0.0, yo = 0.0, oo = 0.0;
  double variance = 1.0;
  // In noise variances, with the best contrast; capped, so that clutter cannot outvote the rest.
  double mismatch(double side) const {
    constexpr double kCap = 40.0;
    const double y2 = yy - 2.0 * side * yo + side * side * oo;
    const double t = ty - side * to;
    return std::min(kCap, (y2 - t * t / std::max(tt, 1e-9)) / variance);
  }
};

// Along the shaft, with the line moved by `shift` across.
std::vector<BlockSums> block_sums(const ShaftProfile& profile, double shift, const Bars& bars) {
  const Rectified& patch = profile.patch;
  const double width = std::max(1.0, profile.expected.width_px);
  const double length = profile.length_px();
  constexpr int kBlock = 4;
  std::vector<BlockSums> blocks;
  for (int first = static_cast<int>(0.1 * length - patch.a0);
       first + kBlock <= 0.9 * length - patch.a0; first += kBlock) {
    const double a = patch.a0 + first + 0.5 * (kBlock - 1);
    const double line = profile.line_offset + profile.line_slope * a + shift;
    BlockSums sums;
    for (int row = 0; row < patch.rows; ++row) {
      const double b = patch.b(row) - line;
      if (std::abs(b) > width / 2 + 2.5) {
        continue;
      }
      double y = 0.0;
      for (int c = first; c < first + kBlock; ++c) {
        y += patch.at(row, c) / kBlock;
      }
      const double t = bars.even(b);
      const double o = bars.odd(b);
      sums.tt += t * t;
      sums.ty += t * y;
      sums.to += t * o;
      sums.yy += y * y;
      sums.yo += y * o;
      sums.oo += o * o;
    }
    const double noise = patch.noise[static_cast<std::size_t>(first)];
    // Shape and blur of the bar are a little off: a share of what is seen counts as noise.
    constexpr double kShapeError = 0.03;
    sums.variance = noise * noise / kBlock + kShapeError * sums.yy;
    blocks.push_back(sums);
  }
  return blocks;
}

}  // namespace

// Which side of the shaft is lit, and how much: one number for the whole shot, since neither the
// sun nor the arrow's direction changes in a few metres. Frames before different backgrounds tell
// it from a shifted line, wide ones best.
double learn_side(const std::vector<ShaftProfile>& profiles, const ShaftOptions& options) {
  std::vector<std::vector<std::vector<BlockSums>>> frames;  // by frame, shift, block
  std::vector<double> strength;
  for (const ShaftProfile& profile : profiles) {
    if (profile.length_px() < options.side_length_px ||
        profile.expected.width_px < options.side_width_px) {
      continue;
    }
    frames.emplace_back();
    const double reach = 0.5 * profile.expected.width_px + 0.5;
    const Bars bars(std::max(1.0, profile.expected.width_px), options.edge_softness_px);
    for (double shift = -reach; shift <= reach + 1e-9; shift += 0.25) {
      frames.back().push_back(block_sums(profile, shift, bars));
    }
    for (double a = 0.1 * profile.length_px(); a < 0.9 * profile.length_px(); a += 2.0) {
      strength.push_back(std::abs(level_at(profile.level, profile.first_px, a)));
    }
  }
  if (frames.size() < 3) {
    return 0.0;
  }
  const auto cost = [&](double side) {
    double sum = 0.0;
    for (const auto& shifts : frames) {
      double best = 1e300;
      for (const auto& blocks : shifts) {
        double total = 0.0;
        for (const BlockSums& block : blocks) {
          total += block.mismatch(side);
        }
        best = std::min(best, total);
      }
      sum += best;
    }
    return sum;
  };
  const double unit = upper_median(strength);
  const double step = 0.1 * unit;
  double best = 0.0;
  double best_cost = cost(0.0);
  constexpr int kSteps = 60;
  for (int i = -kSteps; i <= kSteps; ++i) {
    if (const double c = cost(i * step); c < best_cost) {
      best_cost = c;
      best = i * step;
    }
  }
  // A shaft thinner than it was thought to be is half a lit one, whichever half: then either side
  // explains it about as well, and neither is believed.
  constexpr double kClearlyBetter = 0.75;
  if (best_cost > kClearlyBetter * cost(-best)) {
    return 0.0;
  }
  return best;
}

ArrowSighting sight(const ShaftProfile& profile, const ShaftOptions& options) {
  ArrowSighting sighting;
  sighting.frame = static_cast<int>(profile.frame);
  sighting.t_s = profile.t_s;
  sighting.shown = profile.shown;
  sighting.front_shown = profile.front_shown;
  const double length = profile.length_px();
  double begin = 0.0;
  double end = length;
  const double inside = std::min(0.3 * length, 14.0);
  const auto level = [&](double a) {
    return std::pair(level_at(profile.level, profile.first_px, a),
                     level_at(profile.tilt, profile.first_px, a));
  };
  const double reach = profile.expected.search_along_px;
  if (const auto nock = find_edge([&](double o) { return level(-o); }, profile.tilt_weight, inside,
                                  reach, profile.noise, options)) {
    begin = -nock->at;
    sighting.nock = EndPoint{profile.place(begin), nock->sigma};
  }
  if (const auto tip = find_edge([&](double o) { return level(length + o); }, profile.tilt_weight,
                                 inside, reach, profile.noise, options)) {
    end = length + tip->at;
    sighting.tip = EndPoint{profile.place(end), tip->sigma};
  }
  for (std::size_t i = 0; i < profile.centre.size(); ++i) {
    const double a = profile.centre_at_px[i];
    // The very end carries nock and vanes, whose middle is not the shaft's.
    if (a >= begin + 0.04 * length && a <= end) {
      sighting.centre.push_back(profile.centre[i]);
    }
  }
  return sighting;
}

}  // namespace nocktrail::track
