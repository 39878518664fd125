#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <cmath>

#include "matched.hpp"
#include "nocktrail/median.hpp"
#include "shaft_common.hpp"
#include "smear.hpp"

namespace nocktrail::track {
namespace {

Rectified rectify(const Region& region, std::size_t frame, const Expected& expected,
                  const Eigen::Vector2d& along, double a0, double a1, double reach) {
  const double length = (expected.tip_px - expected.nock_px).norm();
  Rectified patch;
  patch.a0 = a0;
  patch.columns = static_cast<int>(std::ceil(a1 - a0)) + 1;
  patch.b0 = -reach;
  patch.rows = static_cast<int>(std::ceil(2 * reach / patch.b_step)) + 1;
  patch.grey.resize(static_cast<std::size_t>(patch.rows) * static_cast<std::size_t>(patch.columns));
  patch.noise.resize(static_cast<std::size_t>(patch.columns));
  const Eigen::Vector2d across(-along.y(), along.x());
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  const Eigen::Vector2d part(region.corner_of(frame).x, region.corner_of(frame).y);
  for (int column = 0; column < patch.columns; ++column) {
    double noise = 0.0;
    const double bow = bow_at(expected, a0 + column, length);
    for (int row = 0; row < patch.rows; ++row) {
      const Eigen::Vector2d at =
          expected.nock_px + along * (a0 + column) + across * (bow + patch.b(row)) - corner;
      patch.grey[static_cast<std::size_t>(row) * static_cast<std::size_t>(patch.columns) +
                 static_cast<std::size_t>(column)] =
          static_cast<double>(
              sample(region.difference[frame], at.x() - part.x(), at.y() - part.y()));
      noise += static_cast<double>(sample(region.sigma, at.x(), at.y()));
    }
    patch.noise[static_cast<std::size_t>(column)] = std::max(0.1, noise / patch.rows);
  }
  return patch;
}

struct Slice {
  double a = 0.0;
  double centre = 0.0;
  double sigma = 0.0;
  double contrast = 0.0;
};

// The mean of columns [first, last], row by row.
struct MeanProfile {
  std::vector<double> grey;
  double noise = 0.0;  // of it, for rows a pixel apart
};

MeanProfile mean_profile(const Rectified& patch, int first, int last) {
  const int n = last - first + 1;
  MeanProfile profile;
  profile.grey.assign(static_cast<std::size_t>(patch.rows), 0.0);
  for (int column = first; column <= last; ++column) {
    profile.noise += patch.noise[static_cast<std::size_t>(column)];
    for (int row = 0; row < patch.rows; ++row) {
      profile.grey[static_cast<std::size_t>(row)] += patch.at(row, column) / n;
    }
  }
  // Half-pixel steps of bilinear samples: neighbours share pixels, so the noise of a row counts
  // for about half the rows' number.
  profile.noise = profile.noise / n / std::sqrt(n) * std::sqrt(1.0 / patch.b_step);
  return profile;
}

// Clutter that the background did not remove shows beside the shaft.
double clutter_beside(const Rectified& patch, const MeanProfile& profile, double guess,
                      double away_px) {
  std::vector<double> beside;
  for (int row = 0; row < patch.rows; ++row) {
    if (std::abs(patch.b(row) - guess) > away_px) {
      beside.push_back(std::abs(profile.grey[static_cast<std::size_t>(row)]));
    }
  }
  return beside.size() >= 4 ? upper_median(beside) / 0.6745 * std::sqrt(1.0 / patch.b_step) * 0.7
                            : 0.0;
}

// How well a bar there, of the best contrast, goes with a profile.
struct Match {
  Matched bar;
  double gain = 0.0;
};

Match match_at(const Rectified& patch, const MeanProfile& profile, const Bars& bars, double tilt,
               double centre) {
  Match match;
  for (int row = 0; row < patch.rows; ++row) {
    const double b = patch.b(row) - centre;
    const double y = profile.grey[static_cast<std::size_t>(row)];
    const double t = bars.even(b);
    const double o = tilt != 0.0 ? tilt * bars.odd(b) : 0.0;
    match.bar.add(t, y - o);
    match.gain += o * (2.0 * y - o);
  }
  match.gain += match.bar.gain();
  return match;
}

// A bar's place to a fraction of a row, by Gauss-Newton.
struct PlacedBar {
  double centre = 0.0;
  double contrast = 0.0;
  double information = 0.0;  // of the centre, for noise of one
};

std::optional<PlacedBar> settle(const Rectified& patch, const MeanProfile& profile,
                                PlacedBar placed, double width, double tilt, double softness_px) {
  constexpr int kRounds = 6;
  for (int round = 0; round < kRounds; ++round) {
    double saa = 0.0, sac = 0.0, scc = 0.0, ra = 0.0, rc = 0.0;
    for (int row = 0; row < patch.rows; ++row) {
      const double b = patch.b(row) - placed.centre;
      const double t = bar(b, width, softness_px);
      double d = -placed.contrast * bar_slope(b, width, softness_px);
      double r = profile.grey[static_cast<std::size_t>(row)] - placed.contrast * t;
      if (tilt != 0.0) {
        d -= tilt * tilted_bar_slope(b, width, softness_px);
        r -= tilt * tilted_bar(b, width, softness_px);
      }
      saa += t * t;
      sac += t * d;
      scc += d * d;
      ra += t * r;
      rc += d * r;
    }
    const double det = saa * scc - sac * sac;
    if (!(det > 1e-12)) {
      return std::nullopt;
    }
    const double dc = (saa * rc - sac * ra) / det;
    placed.contrast += (scc * ra - sac * rc) / det;
    placed.centre += std::clamp(dc, -0.7, 0.7);
    placed.information = det / saa;
    if (std::abs(dc) < 0.005) {
      break;
    }
  }
  return placed;
}

// What shows just beside the shaft, root mean square: vanes, a limb, another arrow.
double flank_of(const Rectified& patch, const MeanProfile& profile, double centre, double width) {
  double squares = 0.0;
  int rows = 0;
  for (int row = 0; row < patch.rows; ++row) {
    const double b = std::abs(patch.b(row) - centre) - width / 2;
    if (b > 1.8 && b < 5.0) {
      const double y = profile.grey[static_cast<std::size_t>(row)];
      squares += y * y;
      ++rows;
    }
  }
  return rows > 0 ? std::sqrt(squares / rows) : 0.0;
}

// Position and contrast of a bar in the mean of columns [first, last], nearest the guess; `tilt` is
// the known rise of its grey toward the + side.
std::optional<Slice> fit_slice(const Rectified& patch, int first, int last, double guess,
                               double search, double width, const Bars& bars, double tilt,
                               const ShaftOptions& options) {
  const MeanProfile profile = mean_profile(patch, first, last);
  const double noise = std::max(
      profile.noise, clutter_beside(patch, profile, guess, width / 2 + 3.0 + search * 0.5));
  double most = -1e300;
  double start = guess;
  for (double c = guess - search; c <= guess + search + 1e-9; c += 0.5) {
    if (const double gain = match_at(patch, profile, bars, tilt, c).gain; gain > most) {
      most = gain;
      start = c;
    }
  }
  const Match match = match_at(patch, profile, bars, tilt, start);
  const std::optional<PlacedBar> placed = settle(patch, profile, {start, match.bar.contrast(), 0.0},
                                                 width, tilt, options.edge_softness_px);
  if (!placed) {
    return std::nullopt;
  }
  // Something just beside the shaft is seen as strongly as the shaft, whose own picture across its
  // width has this root mean square.
  const double strength = std::hypot(placed->contrast, tilt / std::sqrt(3.0));
  const double flank = flank_of(patch, profile, placed->centre, width);
  if (flank > options.clear_sides * strength &&
      flank > 2.0 * noise / std::sqrt(1.0 / patch.b_step)) {
    return std::nullopt;
  }
  const double contrast_sigma = noise / std::sqrt(std::max(match.bar.squares, 1e-9));
  if (strength < options.least_contrast_sigma * contrast_sigma ||
      std::abs(placed->centre - guess) > search + 0.5) {
    return std::nullopt;
  }
  Slice slice;
  slice.a = patch.a0 + 0.5 * (first + last);
  slice.centre = placed->centre;
  slice.contrast = placed->contrast;
  slice.sigma = std::hypot(noise / std::sqrt(placed->information), options.centre_floor_px);
  return slice;
}

// Straight line through the slices that most of them agree on; drops the rest.
struct Straight {
  double offset = 0.0;
  double slope = 0.0;
  double at(double a) const { return offset + slope * a; }
};

std::optional<Straight> agree(std::vector<Slice>& slices, double tolerance) {
  if (slices.empty()) {
    return std::nullopt;
  }
  Straight best;
  double best_votes = 0.0;
  auto votes_of = [&](const Straight& line) {
    double votes = 0.0;
    for (const Slice& s : slices) {
      const double off = std::abs(s.centre - line.at(s.a)) / std::hypot(tolerance, s.sigma);
      votes += off < 2.0 ? (1.0 - off / 2.0) : 0.0;
    }
    return votes;
  };
  for (std::size_t i = 0; i < slices.size(); ++i) {
    for (std::size_t j = i; j < slices.size(); ++j) {
      Straight line;
      const double apart = slices[j].a - slices[i].a;
      line.slope = i == j || apart < 1.0 ? 0.0 : (slices[j].centre - slices[i].centre) / apart;
      if (std::abs(line.slope) > 0.35) {
        continue;
      }
      line.offset = slices[i].centre - line.slope * slices[i].a;
      const double votes = votes_of(line);
      if (votes > best_votes) {
        best_votes = votes;
        best = line;
      }
    }
  }
  std::erase_if(slices, [&](const Slice& s) {
    return std::abs(s.centre - best.at(s.a)) > 2.0 * std::hypot(tolerance, s.sigma);
  });
  if (slices.empty()) {
    return std::nullopt;
  }
  // Weighted least squares over those left.
  double w0 = 0.0, wa = 0.0, waa = 0.0, wc = 0.0, wac = 0.0;
  for (const Slice& s : slices) {
    const double w = 1.0 / (s.sigma * s.sigma);
    w0 += w;
    wa += w * s.a;
    waa += w * s.a * s.a;
    wc += w * s.centre;
    wac += w * s.a * s.centre;
  }
  const double det = w0 * waa - wa * wa;
  if (slices.size() >= 3 && det > 1e-6 * w0 * w0) {
    best.slope = (w0 * wac - wa * wc) / det;
    best.offset = (wc - best.slope * wa) / w0;
  }
  return best;
}

// Matched contrast along the line.
void match_along(const Region& region, const Rectified& patch, const Straight& line,
                 const Bars& bars, ShaftProfile& profile) {
  profile.first_px = patch.a0;
  profile.level.resize(static_cast<std::size_t>(patch.columns));
  profile.tilt.resize(profile.level.size());
  profile.background.resize(profile.level.size());
  double noise_sum = 0.0;
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  for (int column = 0; column < patch.columns; ++column) {
    const double centre = line.at(patch.a0 + column);
    Matched even;
    Matched odd;
    for (int row = 0; row < patch.rows; ++row) {
      const double b = patch.b(row) - centre;
      even.add(bars.even(b), patch.at(row, column));
      odd.add(bars.odd(b), patch.at(row, column));
    }
    const auto i = static_cast<std::size_t>(column);
    profile.level[i] = even.contrast();
    profile.tilt[i] = odd.contrast();
    profile.tilt_weight = even.squares > 0.0 ? std::sqrt(odd.squares / even.squares) : 0.0;
    const Eigen::Vector2d at = profile.place(patch.a0 + column) - corner;
    profile.background[i] = static_cast<double>(sample(region.background, at.x(), at.y()));
    noise_sum +=
        patch.noise[i] * std::sqrt(1.0 / patch.b_step) / std::sqrt(std::max(even.squares, 1e-9));
  }
  profile.noise = noise_sum / patch.columns;
}

}  // namespace

std::optional<ShaftProfile> cut_open(const Region& region, std::size_t frame, double t_s,
                                     const Expected& expected, const ShaftOptions& options,
                                     double side) {
  const Eigen::Vector2d shaft = expected.tip_px - expected.nock_px;
  const double length = shaft.norm();
  if (length < 3.0) {
    return std::nullopt;
  }
  ShaftProfile profile;
  profile.frame = frame;
  profile.t_s = t_s;
  profile.expected = expected;
  profile.along = shaft / length;
  const Eigen::Vector2d across(-profile.along.y(), profile.along.x());
  const double width = std::max(1.0, expected.width_px);
  const Bars bars(width, options.edge_softness_px);
  const double margin = expected.search_along_px + 8.0;
  const double reach = width / 2 + expected.search_across_px + 6.0;
  Rectified patch =
      rectify(region, frame, expected, profile.along, -margin, length + margin, reach);
  const auto column_of = [&](double a) { return static_cast<int>(std::lround(a - patch.a0)); };

  const double step_px = slice_px(length);
  const auto is_front = [&](double a) { return a > 0.5 * length; };
  std::vector<Slice> slices;
  int front = 0;  // slices that were looked at
  for (double a = 1.0; a + step_px <= length; a += step_px) {
    front += is_front(a + 0.5 * step_px) ? 1 : 0;
    const int first = std::clamp(column_of(a), 0, patch.columns - 1);
    const int last = std::clamp(column_of(a + step_px) - 1, first, patch.columns - 1);
    const auto slice =
        fit_slice(patch, first, last, 0.0, expected.search_across_px, width, bars, side, options);
    if (slice) {
      slices.push_back(*slice);
    }
  }
  const std::optional<Straight> line = agree(slices, 0.35 + expected.bend_slack_px);
  if (!line || static_cast<double>(slices.size()) * step_px < 0.3 * length) {
    return std::nullopt;
  }
  profile.shown = std::min(1.0, static_cast<double>(slices.size()) * step_px / length);
  const auto front_seen = std::count_if(slices.begin(), slices.end(),
                                        [&](const Slice& slice) { return is_front(slice.a); });
  profile.front_shown = static_cast<double>(front_seen) / std::max(1, front);
  profile.line_offset = line->offset;
  profile.line_slope = line->slope;
  for (const Slice& slice : slices) {
    profile.centre.push_back({expected.nock_px + profile.along * slice.a +
                                  across * (bow_at(expected, slice.a, length) + slice.centre),
                              slice.sigma});
    profile.centre_at_px.push_back(slice.a);
  }

  match_along(region, patch, *line, bars, profile);
  profile.patch = std::move(patch);
  return profile;
}

Eigen::Vector2d ShaftProfile::place(double along_px) const {
  const Eigen::Vector2d across(-along.y(), along.x());
  return expected.nock_px + along * along_px + across * across_at(along_px);
}

double ShaftProfile::across_at(double along_px) const {
  return bow_at(expected, along_px, length_px()) + line_offset + line_slope * along_px;
}

}  // namespace nocktrail::track
