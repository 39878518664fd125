#include "nocktrail/side/sight.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace nocktrail::side {
namespace {

// Middle value; the order of `values` is lost.
float median_of(std::vector<float>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Bilinear between rows of one column.
double at_row(const cv::Mat& picture, int column, double row) {
  const double inside = std::clamp(row, 0.0, picture.rows - 1.001);
  const int y = static_cast<int>(inside);
  const double f = inside - y;
  return (1.0 - f) * static_cast<double>(picture.at<float>(y, column)) +
         f * static_cast<double>(picture.at<float>(y + 1, column));
}

}  // namespace

Strip::Strip(const std::vector<cv::Mat>& luma, const std::vector<double>& t_s, const Path& path,
             double still_from_s, const SightOptions& options)
    : options_(options), path_(path), t_s_(t_s) {
  const cv::Size size = luma.front().size();
  // Where the line enters and leaves the picture.
  double low = -1e9;
  double high = 1e9;
  const auto clip = [&](double from, double step, double limit) {
    if (std::abs(step) < 1e-9) {
      return;
    }
    const double a = (0.0 - from) / step;
    const double b = (limit - from) / step;
    low = std::max(low, std::min(a, b));
    high = std::min(high, std::max(a, b));
  };
  clip(path.at_px.x(), path.along.x(), size.width - 1.0);
  clip(path.at_px.y(), path.along.y(), size.height - 1.0);
  first_px_ = std::ceil(low);
  columns_ = std::max(8, static_cast<int>(std::floor(high) - first_px_) + 1);
  const double length_px = path.length_px(path.from_s);
  half_rows_ = std::max(12, static_cast<int>(std::ceil(options.half_height_m /
                                                       options.typical_length_m * length_px)));
  const Eigen::Vector2d origin = picture_px(first_px_, -half_rows_);
  const cv::Matx23d picture_from_strip(path.along.x(), path.across().x(), origin.x(),
                                       path.along.y(), path.across().y(), origin.y());
  const cv::Size strip(columns_, 2 * half_rows_ + 1);
  for (const cv::Mat& frame : luma) {
    cv::Mat cut;
    cv::warpAffine(frame, cut, picture_from_strip, strip, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                   cv::BORDER_REPLICATE);
    cv::Mat real;
    cut.convertTo(real, CV_32F);
    rows_.push_back(real);
  }
  std::vector<std::size_t> still;
  for (std::size_t k = 0; k < t_s.size(); ++k) {
    if (t_s[k] >= still_from_s) {
      still.push_back(k);
    }
  }
  const std::size_t count =
      std::min(still.size(), static_cast<std::size_t>(options.background_frames));
  background_.create(strip, CV_32F);
  sigma_.create(strip, CV_32F);
  std::vector<float> values(count);
  for (int y = 0; y < strip.height; ++y) {
    for (int x = 0; x < strip.width; ++x) {
      for (std::size_t i = 0; i < count; ++i) {
        const std::size_t k = count > 1 ? still[i * (still.size() - 1) / (count - 1)] : still[0];
        values[i] = rows_[k].at<float>(y, x);
      }
      const float middle = median_of(values);
      for (float& value : values) {
        value = std::abs(value - middle);
      }
      background_.at<float>(y, x) = middle;
      // Leaves in the wind stand still for most of the time: the spread is that of the restless
      // frames, of which the arrow's own are fewer than one in ten.
      const auto restless = values.begin() + static_cast<std::ptrdiff_t>(values.size() * 85 / 100);
      std::nth_element(values.begin(), restless, values.end());
      sigma_.at<float>(y, x) = *restless / 1.44F;  // of a normal distribution
    }
  }
  cv::boxFilter(sigma_, sigma_, CV_32F, cv::Size(5, 5));
  cv::max(sigma_, options.grey_floor, sigma_);
  cv::Mat gx;
  cv::Mat gy;
  cv::Sobel(background_, gx, CV_32F, 1, 0, 3, options.edge_slip_px / 8.0);
  cv::Sobel(background_, gy, CV_32F, 0, 1, 3, options.edge_slip_px / 8.0);
  cv::Mat slip;
  cv::magnitude(gx, gy, slip);
  cv::magnitude(sigma_, slip, sigma_);
}

cv::Mat Strip::changed_in(std::size_t k) const {
  cv::Mat changed;
  cv::absdiff(rows_[k], background_, changed);
  cv::divide(changed, sigma_, changed);
  cv::min(changed, 8.0, changed);
  return changed;
}

Path Strip::with_extent(double first_s) const {
  // 0.62 m at 70 m/s to 0.85 m at 37 m/s.
  constexpr double kLeast_s = 0.009;
  constexpr double kMost_s = 0.023;
  constexpr double kStep_s = 0.00025;
  constexpr double kReach_s = 0.026;
  constexpr int kBand = 12;
  constexpr float kStrong = 4.0F;  // sigmas: a bright vane is not to outshine the shaft
  const auto bins = static_cast<std::size_t>(2.0 * kReach_s / kStep_s) + 1;
  std::vector<double> sum(bins, 0.0);
  std::vector<double> count(bins, 0.0);
  for (std::size_t k = 0; k < t_s_.size(); ++k) {
    const double middle = path_.middle_px(t_s_[k]);
    if (t_s_[k] < first_s || !inside(middle)) {
      continue;
    }
    const double speed = path_.speed_px_s(t_s_[k]);
    const cv::Mat changed = changed_in(k);
    cv::Mat smooth;
    cv::blur(changed, smooth, cv::Size(5, 3));
    for (std::size_t i = 0; i < bins; ++i) {
      const double s = middle + speed * (static_cast<double>(i) * kStep_s - kReach_s);
      if (!inside(s)) {
        continue;
      }
      const int column = static_cast<int>(std::lround(column_of(s)));
      float most = 0.0F;
      for (int y = half_rows_ - std::min(kBand, half_rows_);
           y <= half_rows_ + std::min(kBand, half_rows_); ++y) {
        most = std::max(most, smooth.at<float>(y, column));
      }
      sum[i] += static_cast<double>(std::min(most, kStrong));
      count[i] += 1.0;
    }
  }
  std::vector<float> known;
  for (std::size_t i = 0; i < bins; ++i) {
    if (count[i] >= 2.0) {
      sum[i] /= count[i];
      known.push_back(static_cast<float>(sum[i]));
    }
  }
  Path path = path_;
  if (known.size() < bins / 2) {
    return path;
  }
  std::sort(known.begin(), known.end());
  const double without = static_cast<double>(known[known.size() / 8]);
  const double with = static_cast<double>(known[known.size() * 7 / 8]);
  const double level = 0.5 * (without + with);
  // The stretch of an arrow's length that stands out most.
  std::vector<double> upto(bins + 1, 0.0);
  for (std::size_t i = 0; i < bins; ++i) {
    upto[i + 1] = upto[i] + (count[i] >= 2.0 ? sum[i] - level : 0.0);
  }
  double best = 0.0;
  const auto least = static_cast<std::size_t>(kLeast_s / kStep_s);
  const auto most = static_cast<std::size_t>(kMost_s / kStep_s);
  for (std::size_t a = 0; a + least <= bins; ++a) {
    for (std::size_t b = a + least; b <= std::min(bins, a + most); ++b) {
      if (upto[b] - upto[a] > best) {
        best = upto[b] - upto[a];
        path.cover_s = static_cast<double>(b - a) * kStep_s;
        path.from_s = path_.from_s - (0.5 * static_cast<double>(a + b - 1) * kStep_s - kReach_s);
      }
    }
  }
  return path;
}

std::optional<Strip::Line> Strip::coarse_line(const cv::Mat& changed, double middle_px,
                                              double length_px) const {
  std::vector<Eigen::Vector2d> peaks;
  const double step = length_px / options_.groups;
  for (int g = 0; g < options_.groups; ++g) {
    const double from = middle_px - 0.5 * length_px + g * step;
    if (!inside(from) || !inside(from + step)) {
      continue;
    }
    cv::Mat profile;
    cv::reduce(changed.colRange(static_cast<int>(column_of(from)),
                                static_cast<int>(column_of(from + step)) + 1),
               profile, 1, cv::REDUCE_AVG);
    cv::blur(profile, profile, cv::Size(1, 3));
    cv::Point at;
    double most = 0.0;
    cv::minMaxLoc(profile, nullptr, &most, nullptr, &at);
    if (most > 2.0) {
      peaks.emplace_back(from + 0.5 * step, at.y - half_rows_);
    }
  }
  // The line that most of them lie on.
  std::optional<Line> best;
  std::size_t most = 0;
  for (std::size_t i = 0; i < peaks.size(); ++i) {
    for (std::size_t j = i + 3; j < peaks.size(); ++j) {
      Line line;
      line.middle = middle_px;
      line.lean = (peaks[j].y() - peaks[i].y()) / (peaks[j].x() - peaks[i].x());
      if (std::abs(line.lean) > 0.2) {
        continue;
      }
      line.offset = peaks[i].y() - line.lean * (peaks[i].x() - middle_px);
      const auto agree = static_cast<std::size_t>(
          std::count_if(peaks.begin(), peaks.end(), [&](const Eigen::Vector2d& peak) {
            return std::abs(peak.y() - line.at(peak.x())) < 1.6;
          }));
      if (agree > most) {
        most = agree;
        best = line;
      }
    }
  }
  return most >= 5 ? best : std::nullopt;
}

std::vector<Strip::Group> Strip::groups_about(std::size_t k, const Line& line, double middle_px,
                                              double length_px) const {
  const double px_per_m = length_px / options_.typical_length_m;
  const double half_width = 0.5 * options_.widest_shaft_m * px_per_m + 3.0;
  // The profile across the shaft, in steps of half a pixel, twice as far as it reaches: beyond it
  // only noise is left, which says how much of the rest is noise.
  constexpr double kStep_px = 0.5;
  const int steps = static_cast<int>(std::ceil(2.0 * half_width / kStep_px));
  const int groups = options_.groups;
  const double rear = middle_px - 0.5 * length_px;
  const double from = rear + options_.from_share * length_px;
  const double step = (options_.to_share - options_.from_share) * length_px / groups;
  std::vector<Group> found;
  std::vector<double> profile(static_cast<std::size_t>(2 * steps + 1));
  for (int g = 0; g < groups; ++g) {
    std::fill(profile.begin(), profile.end(), 0.0);
    int columns = 0;
    for (double s = from + g * step; s < from + (g + 1) * step; s += 1.0) {
      const int column = static_cast<int>(std::lround(column_of(s)));
      const double row = line.at(first_px_ + column) + half_rows_;
      if (!inside(s) || row < 2.0 * half_width + 1.0 ||
          row > 2.0 * half_rows_ - 2.0 * half_width - 1.0) {
        continue;
      }
      ++columns;
      for (int i = -steps; i <= steps; ++i) {
        const double at = row + i * kStep_px;
        // Lit from above, a shaft has a bright and a dark side, and between them somewhere the
        // brightness of what is behind it: it is where the picture changed, either way.
        profile[static_cast<std::size_t>(i + steps)] +=
            std::abs(at_row(rows_[k], column, at) - at_row(background_, column, at)) /
            at_row(sigma_, column, at);
      }
    }
    if (columns < 4) {
      continue;
    }
    const auto at = [&](int i) { return profile[static_cast<std::size_t>(i + steps)] / columns; };
    // Noise alone, from either side; and the most within reach of the line.
    double noise = 0.0;
    double most = 0.0;
    int peak = 0;
    const int inner = static_cast<int>(half_width / kStep_px);
    for (int i = -steps; i <= steps; ++i) {
      if (std::abs(i) > inner) {
        noise += at(i) / (2.0 * (steps - inner));
      } else if (at(i) > most) {
        most = at(i);
        peak = i;
      }
    }
    const double height = most - noise;
    if (height < options_.clear_sigmas / 2.5) {
      continue;
    }
    // Its outline at a third of the height, to either side of the peak and past a dip between a
    // bright and a dark side.
    const double level = noise + 0.33 * height;
    const auto edge = [&](int way) -> std::optional<double> {
      const int reach = static_cast<int>(half_width / kStep_px);
      int last = peak;
      for (int i = peak; std::abs(i - peak) <= reach && std::abs(i) < steps; i += way) {
        if (at(i) >= level) {
          last = i;
        }
      }
      if (std::abs(last + way) > steps) {
        return std::nullopt;
      }
      // A bright side stands out by more than a dark one, or by less: each ends where half of its
      // own height is left.
      constexpr int kSide = 2;  // steps: one pixel
      double own = 0.0;
      for (int i = 0; i <= kSide && std::abs(last - way * i) <= steps; ++i) {
        own = std::max(own, at(last - way * i));
      }
      const double half = noise + 0.5 * (own - noise);
      int i = last - way * kSide;
      for (int j = last + way; j != i; j -= way) {
        if (std::abs(j) <= steps && at(j) >= half) {
          i = j;
          break;
        }
      }
      if (std::abs(i) >= steps) {
        return std::nullopt;
      }
      const double inside_value = at(i);
      const double outside = at(i + way);
      const double f =
          inside_value > outside ? (inside_value - half) / (inside_value - outside) : 0.5;
      return (i + way * std::clamp(f, 0.0, 1.0)) * kStep_px;
    };
    const std::optional<double> above = edge(-1);
    const std::optional<double> below = edge(1);
    if (!above || !below || *below - *above > 2.0 * half_width) {
      continue;
    }
    Group group;
    group.s = from + (g + 0.5) * step;
    group.n = line.at(group.s) + 0.5 * (*above + *below);
    // An outline is known to about a pixel over its contrast, but no better than what scenery that
    // changes across the shaft makes of it.
    group.sigma_px = std::hypot(0.12, 1.5 / height / std::sqrt(columns / 4.0));
    found.push_back(group);
  }
  return found;
}

std::optional<double> Strip::end(std::size_t k, const Line& line, double from_px,
                                 double expected_px, double length_px) const {
  const double way = expected_px > from_px ? 1.0 : -1.0;
  const double furthest = expected_px + way * 0.25 * length_px;
  // What is seen along the line and what was there before, a mean of three rows.
  std::vector<double> is;
  std::vector<double> was;
  std::vector<double> noise;
  for (double s = from_px; way * (furthest - s) > 0.0 && inside(s); s += way) {
    const int column = static_cast<int>(std::lround(column_of(s)));
    const double row = line.at(first_px_ + column) + half_rows_;
    if (row < 2 || row > 2 * half_rows_ - 2) {
      break;
    }
    double seen = 0.0;
    double before = 0.0;
    for (int j = -1; j <= 1; ++j) {
      seen += at_row(rows_[k], column, row + j) / 3.0;
      before += at_row(background_, column, row + j) / 3.0;
    }
    is.push_back(seen);
    was.push_back(before);
    noise.push_back(at_row(sigma_, column, row));
  }
  const auto size = static_cast<int>(is.size());
  const int beyond = static_cast<int>(0.04 * length_px);
  if (size < static_cast<int>(0.5 * length_px) + beyond) {
    return std::nullopt;  // the end, or what lies beyond it, is out of the picture
  }
  // The colour of the shaft, from where neither vanes nor the smear of the end reach.
  const auto share = [&](double part) {
    return std::clamp(static_cast<int>(part * length_px), 0, size - 1);
  };
  std::vector<float> shaft;
  for (int i = share(0.12); i <= share(0.30); ++i) {
    shaft.push_back(static_cast<float>(is[static_cast<std::size_t>(i)]));
  }
  const double colour = static_cast<double>(median_of(shaft));
  // Covered or not, weighed by how well that can be told; the end is where a step fits best, which
  // for the ramp of a smear is its middle.
  std::vector<double> covered(is.size(), 0.0);
  std::vector<double> weight(is.size(), 0.0);
  double telling = 0.0;
  for (std::size_t i = 0; i < is.size(); ++i) {
    const double against = colour - was[i];
    const double changed = std::abs(is[i] - was[i]);
    // Vanes, nock and point have colours of their own.
    covered[i] = std::min(1.0, changed / std::max(std::abs(against), 2.0 * noise[i]));
    weight[i] = std::clamp(std::max(std::abs(against), changed) / noise[i] - 1.0, 0.0, 4.0);
  }
  std::vector<double> cost(is.size() + 1, 0.0);
  for (std::size_t i = 0; i < is.size(); ++i) {
    cost[0] += weight[i] * covered[i] * covered[i];
  }
  for (std::size_t i = 0; i < is.size(); ++i) {
    cost[i + 1] =
        cost[i] + weight[i] * ((1.0 - covered[i]) * (1.0 - covered[i]) - covered[i] * covered[i]);
  }
  const double least = *std::min_element(cost.begin(), cost.end());
  // Where shaft and ground are of one brightness the step may be anywhere between: no end then.
  constexpr double kAsGood = 8.0;  // two pixels that tell well
  int first = -1;
  int last = -1;
  for (int i = 0; i <= size; ++i) {
    if (cost[static_cast<std::size_t>(i)] <= least + kAsGood) {
      first = first < 0 ? i : first;
      last = i;
    }
  }
  if (last - first > std::max(8.0, 0.045 * length_px)) {
    return std::nullopt;
  }
  const int at = static_cast<int>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  // Both sides of the step must be able to tell, and it must not be the edge of what was looked at.
  for (int i = std::max(0, at - 2 * beyond); i < std::min(size, at + 2 * beyond); ++i) {
    telling += weight[static_cast<std::size_t>(i)];
  }
  if (at < share(0.25) || at + beyond >= size || telling < 4.0 * beyond) {
    return std::nullopt;
  }
  return from_px + way * (at - 0.5);
}

std::optional<track::ArrowSighting> Strip::sight(std::size_t k, double middle_px,
                                                 double length_px) const {
  const cv::Mat changed = changed_in(k);
  std::optional<Line> line = coarse_line(changed, middle_px, length_px);
  if (!line) {
    return std::nullopt;
  }
  std::vector<Group> groups;
  constexpr int kRounds = 3;
  for (int round = 0; round < kRounds; ++round) {
    groups = groups_about(k, *line, middle_px, length_px);
    // A straight line through them, the far ones left out as it settles.
    const double reach = round == 0 ? 2.5 : 1.2;
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    std::vector<Group> kept;
    for (const Group& group : groups) {
      if (std::abs(group.n - line->at(group.s)) > reach) {
        continue;
      }
      const double weight = 1.0 / (group.sigma_px * group.sigma_px);
      const Eigen::Vector2d row(1.0, group.s - middle_px);
      normal += weight * row * row.transpose();
      right += weight * group.n * row;
      kept.push_back(group);
    }
    groups = kept;
    if (groups.size() < 5) {
      return std::nullopt;
    }
    const Eigen::Vector2d fitted = normal.ldlt().solve(right);
    line = Line{middle_px, fitted[0], fitted[1]};
  }
  track::ArrowSighting sighting;
  sighting.frame = static_cast<int>(k);
  sighting.t_s = t_s_[k];
  sighting.shown = static_cast<double>(groups.size()) / options_.groups;
  for (const Group& group : groups) {
    sighting.centre.push_back({picture_px(group.s, group.n), group.sigma_px});
  }
  const auto end_at = [&](double share) -> std::optional<track::EndPoint> {
    const std::optional<double> s =
        end(k, *line, middle_px, middle_px + (share - 0.5) * length_px, length_px);
    if (!s) {
      return std::nullopt;
    }
    // Point and nock have colours and shapes of their own: before some grounds the end is found
    // where they begin, 2 to 3 % of the length early.
    const double sigma_px = std::hypot(2.0, 0.015 * length_px);
    return track::EndPoint{picture_px(*s, line->at(*s)), sigma_px, false};
  };
  sighting.nock = end_at(0.0);
  sighting.tip = end_at(1.0);
  return sighting;
}

std::optional<double> Strip::foremost(std::size_t k, double from_px, double to_px, double n_px,
                                      double across_px) const {
  const cv::Mat changed = changed_in(k);
  const int low = std::max(0, half_rows_ + static_cast<int>(std::floor(n_px - across_px)));
  const int high =
      std::min(2 * half_rows_, half_rows_ + static_cast<int>(std::ceil(n_px + across_px)));
  constexpr int kRun = 6;
  int run = 0;
  for (double s = std::max(from_px, to_px); s > std::min(from_px, to_px); s -= 1.0) {
    if (!inside(s)) {
      run = 0;
      continue;
    }
    const int column = static_cast<int>(std::lround(column_of(s)));
    // Two rows that stand out together, wherever in the band.
    bool out = false;
    for (int y = low; y + 1 <= high && !out; ++y) {
      out = changed.at<float>(y, column) + changed.at<float>(y + 1, column) > 8.0F;
    }
    run = out ? run + 1 : 0;
    if (run == kRun) {
      return s + kRun - 1;
    }
  }
  return std::nullopt;
}

}  // namespace nocktrail::side
