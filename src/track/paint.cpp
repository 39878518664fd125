#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shaft_common.hpp"

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
  const double plateau = median_of(inner);
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

struct Ends {
  double nock_px = 0.0;  // along coordinates
  double tip_px = 0.0;
  double nock_sigma = 1.0;
  double tip_sigma = 1.0;
  bool nock_clear = true;  // arrow and background differ there
  bool tip_clear = true;
};

// Lens and motion blur of an end, 1 sigma.
double end_softness_px(double length_px) {
  return 0.7 + 0.015 * length_px;
}

// How badly the painted arrow between two ends explains the profile, in noise variances; each
// pixel counts at most `cap`, so that an occluded stretch cannot drag an end.
double mismatch(const ShaftProfile& profile, const ArrowPaint& paint, double nock, double tip,
                double noise, double cap) {
  const double length = tip - nock;
  const double soft = end_softness_px(length);
  double sum = 0.0;
  for (std::size_t i = 0; i < profile.level.size(); ++i) {
    const double a = profile.first_px + static_cast<double>(i);
    const double inside = 0.5 * (std::erf((a - nock) / (soft * std::numbers::sqrt2)) -
                                 std::erf((a - tip) / (soft * std::numbers::sqrt2)));
    double predicted = 0.0;
    double predicted_tilt = 0.0;
    if (inside > 1e-3) {
      const double fraction = std::clamp((a - nock) / length, 0.0, 1.0);
      predicted = inside * (paint.at(share_of(fraction, profile.expected.depth_ratio)) -
                            profile.background[i]);
      predicted_tilt = inside * paint.side;
    }
    const double r = (profile.level[i] - predicted) / noise;
    const double rt = profile.tilt_weight * (profile.tilt[i] - predicted_tilt) / noise;
    sum += std::min(r * r + rt * rt, cap);
  }
  return sum;
}

std::optional<Ends> match_paint(const ShaftProfile& profile, const ArrowPaint& paint,
                                const ShaftOptions& options) {
  const double length = profile.length_px();
  const double reach = profile.expected.search_along_px;
  // Paint, background and alignment are all a little off: a tenth of the contrast counts as noise.
  std::vector<double> strength;
  for (std::size_t i = 0; i < profile.level.size(); ++i) {
    strength.push_back(profile.strength(i));
  }
  const double noise = std::hypot(profile.noise * 1.2, 0.15 * median_of(strength) + 0.2);
  constexpr double kCap = 16.0;
  const auto cost = [&](double nock, double tip) {
    return mismatch(profile, paint, nock, tip, noise, kCap);
  };
  double best = 1e300;
  double nock = 0.0;
  double tip = length;
  const double step = reach > 6.0 ? 1.5 : 0.75;
  for (double n = -reach; n <= reach; n += step) {
    for (double t = length - reach; t <= length + reach; t += step) {
      if (t - n < 0.6 * length) {
        continue;
      }
      const double c = cost(n, t);
      if (c < best) {
        best = c;
        nock = n;
        tip = t;
      }
    }
  }
  for (double fine = 0.5 * step; fine > 0.04; fine *= 0.5) {
    for (int pass = 0; pass < 2; ++pass) {
      for (const double d : {-fine, fine}) {
        if (const double c = cost(nock + d, tip); c < best) {
          best = c;
          nock += d;
        }
        if (const double c = cost(nock, tip + d); c < best) {
          best = c;
          tip += d;
        }
      }
    }
  }
  if (std::abs(nock) > reach - 0.25 || std::abs(tip - length) > reach - 0.25) {
    return std::nullopt;
  }
  // How far each end can move before the match is worse by one unit of its own scatter. Where arrow
  // and background look alike that is far, and the end is in the middle of it, known that poorly.
  const double scale = std::max(1.0, best / static_cast<double>(profile.level.size()));
  struct Span {
    double middle = 0.0;
    double half = 0.0;
  };
  const auto span_of = [&](const auto& cost_at) {
    constexpr double kStep = 0.25;
    double back = 0.0;
    double on = 0.0;
    while (back < reach && cost_at(-back - kStep) < best + scale) {
      back += kStep;
    }
    while (on < reach && cost_at(on + kStep) < best + scale) {
      on += kStep;
    }
    return Span{0.5 * (on - back), 0.5 * (on + back) + 0.5 * kStep};
  };
  // Contrast of each end against that of the whole arrow.
  std::vector<double> whole;
  const auto contrast = [&](double from, double to) {
    double sum = 0.0;
    constexpr int kSteps = 6;
    for (int i = 0; i < kSteps; ++i) {
      const double fraction = from + (to - from) * (i + 0.5) / kSteps;
      const double a = nock + fraction * (tip - nock);
      const double off = std::hypot(paint.at(share_of(fraction, profile.expected.depth_ratio)) -
                                        level_at(profile.background, profile.first_px, a),
                                    profile.tilt_weight * paint.side);
      sum += off / kSteps;
      whole.push_back(off);
    }
    return sum;
  };
  const double nock_contrast = contrast(0.0, 0.15);
  const double tip_contrast = contrast(0.85, 1.0);
  contrast(0.15, 0.5);
  contrast(0.5, 0.85);
  const double clear = options.clear_end * median_of(whole);
  const Span nock_span = span_of([&](double d) { return cost(nock + d, tip); });
  const Span tip_span = span_of([&](double d) { return cost(nock, tip + d); });
  return Ends{nock + nock_span.middle,
              tip + tip_span.middle,
              std::hypot(options.painted_floor_px, nock_span.half, options.nock_share * length),
              std::hypot(options.painted_floor_px, tip_span.half, options.tip_share * length),
              nock_contrast > clear,
              tip_contrast > clear};
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
std::vector<BlockSums> block_sums(const ShaftProfile& profile, double shift,
                                  const ShaftOptions& options) {
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
      const double t = bar(b, width, options.edge_softness_px);
      const double o = tilted_bar(b, width, options.edge_softness_px);
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

// Which side of the shaft is lit, and how much: one number for the whole shot, since neither the
// sun nor the arrow's direction changes in a few metres. Frames before different backgrounds tell
// it from a shifted line, wide ones best.
double learn_side(const std::vector<ShaftProfile>& profiles, const ShaftOptions& options) {
  std::vector<std::vector<std::vector<BlockSums>>> frames;  // by frame, shift, block
  std::vector<double> strength;
  for (const ShaftProfile& profile : profiles) {
    if (profile.length_px() < options.paint_length_px ||
        profile.expected.width_px < options.side_width_px) {
      continue;
    }
    frames.emplace_back();
    const double reach = 0.5 * profile.expected.width_px + 0.5;
    for (double shift = -reach; shift <= reach + 1e-9; shift += 0.25) {
      frames.back().push_back(block_sums(profile, shift, options));
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
  const double unit = median_of(strength);
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

double strength_at(const ShaftProfile& profile, double a) {
  return std::hypot(level_at(profile.level, profile.first_px, a),
                    profile.tilt_weight * level_at(profile.tilt, profile.first_px, a));
}

constexpr std::size_t kBins = 40;

// The shares between which the arrow shows. Where the model's arrow is longer than the seen one,
// the stretch beyond the end is bare background in every frame: learned as paint of the
// background's own grey it would fit there for ever, and the end would never be found.
struct Shown {
  double from = 0.0;
  double to = 1.0;
  double at(double share) const { return from + share * (to - from); }
};

Shown shown_part(const std::vector<const ShaftProfile*>& teachers) {
  std::vector<std::vector<double>> contrast(kBins);
  for (const ShaftProfile* profile : teachers) {
    const double length = profile->length_px();
    std::vector<double> inner;
    for (double a = 0.2 * length; a < 0.8 * length; a += 1.0) {
      inner.push_back(strength_at(*profile, a));
    }
    const double unit = std::max(median_of(inner), 1e-6);
    for (std::size_t bin = 0; bin < kBins; ++bin) {
      const double share = (static_cast<double>(bin) + 0.5) / kBins;
      const double a = length * fraction_of(share, profile->expected.depth_ratio);
      contrast[bin].push_back(strength_at(*profile, a) / unit);
    }
  }
  std::vector<double> middle;
  for (const std::vector<double>& bin : contrast) {
    middle.push_back(median_of(bin));
  }
  // From an end inward to where half the usual contrast stands, share of the length.
  const auto bare = [&](const auto& level) {
    constexpr double kHalf = 0.5;
    constexpr std::size_t kMost = 6;
    for (std::size_t i = 0; i < kMost; ++i) {
      if (level(i) < kHalf) {
        continue;
      }
      if (i == 0) {
        return 0.0;
      }
      const double between = (kHalf - level(i - 1)) / std::max(1e-6, level(i) - level(i - 1));
      return (static_cast<double>(i) - 0.5 + between) / kBins;
    }
    return 0.0;  // a camouflaged end: nothing to be learned there
  };
  Shown shown;
  shown.from = bare([&](std::size_t i) { return middle[i]; });
  shown.to = 1.0 - bare([&](std::size_t i) { return middle[kBins - 1 - i]; });
  return shown;
}

}  // namespace

double ArrowPaint::at(double share) const {
  const double c = std::clamp(share * static_cast<double>(grey.size()) - 0.5, 0.0,
                              static_cast<double>(grey.size()) - 1.001);
  const auto i = static_cast<std::size_t>(c);
  const double f = c - static_cast<double>(i);
  return (1 - f) * grey[i] + f * grey[i + 1];
}

std::optional<ArrowPaint> learn_paint(const std::vector<ShaftProfile>& profiles,
                                      const ShaftOptions& options) {
  std::vector<const ShaftProfile*> teachers;
  for (const ShaftProfile& profile : profiles) {
    if (profile.length_px() >= options.paint_length_px) {
      teachers.push_back(&profile);
    }
  }
  if (teachers.size() < 4) {
    return std::nullopt;
  }
  const Shown shown = shown_part(teachers);
  std::vector<std::vector<double>> seen(kBins);
  for (const ShaftProfile* profile : teachers) {
    const double length = profile->length_px();
    const auto place = [&](double share) {
      return length * fraction_of(shown.at(share), profile->expected.depth_ratio);
    };
    for (std::size_t bin = 0; bin < kBins; ++bin) {
      const double a = place((static_cast<double>(bin) + 0.5) / kBins);
      // The blurred ends are half background: learned as paint, they would push the ends outward.
      if (std::min(a - place(0.0), place(1.0) - a) < 1.3 * end_softness_px(length)) {
        continue;
      }
      seen[bin].push_back(level_at(profile->level, profile->first_px, a) +
                          level_at(profile->background, profile->first_px, a));
    }
  }
  // Bins that no frame shows clear of the ends take the nearest one's paint.
  ArrowPaint paint;
  std::size_t first = kBins;
  std::size_t last = 0;
  for (std::size_t bin = 0; bin < kBins; ++bin) {
    if (!seen[bin].empty()) {
      first = std::min(first, bin);
      last = bin;
    }
  }
  if (first >= last) {
    return std::nullopt;
  }
  for (std::size_t bin = 0; bin < kBins; ++bin) {
    const std::size_t from = std::clamp(bin, first, last);
    paint.grey.push_back(seen[from].empty() ? paint.grey.back() : median_of(seen[from]));
  }
  paint.side = learn_side(profiles, options);
  return paint;
}

ArrowSighting sight(const ShaftProfile& profile, const std::optional<ArrowPaint>& paint,
                    const ShaftOptions& options) {
  ArrowSighting sighting;
  sighting.frame = static_cast<int>(profile.frame);
  sighting.t_s = profile.t_s;
  sighting.shown = profile.shown;
  const double length = profile.length_px();
  double begin = 0.0;
  double end = length;
  const std::optional<Ends> ends =
      paint ? match_paint(profile, *paint, options) : std::optional<Ends>{};
  if (ends) {
    begin = ends->nock_px;
    end = ends->tip_px;
    const double useless = std::max(2.5, 0.2 * length);
    if (ends->nock_clear && ends->nock_sigma < useless) {
      sighting.nock = EndPoint{profile.place(begin), ends->nock_sigma};
    }
    if (ends->tip_clear && ends->tip_sigma < useless) {
      sighting.tip = EndPoint{profile.place(end), ends->tip_sigma};
    }
  } else if (!paint) {
    const double inside = std::min(0.3 * length, 14.0);
    const auto level = [&](double a) {
      return std::pair(level_at(profile.level, profile.first_px, a),
                       level_at(profile.tilt, profile.first_px, a));
    };
    const double reach = profile.expected.search_along_px;
    if (const auto nock = find_edge([&](double o) { return level(-o); }, profile.tilt_weight,
                                    inside, reach, profile.noise, options)) {
      begin = -nock->at;
      sighting.nock = EndPoint{profile.place(begin), nock->sigma};
    }
    if (const auto tip = find_edge([&](double o) { return level(length + o); }, profile.tilt_weight,
                                   inside, reach, profile.noise, options)) {
      end = length + tip->at;
      sighting.tip = EndPoint{profile.place(end), tip->sigma};
    }
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
