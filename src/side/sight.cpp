#include "nocktrail/side/sight.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "nocktrail/median.hpp"
#include "outline.hpp"
#include "sampling.hpp"

namespace nocktrail::side {
namespace {

// Of the arrow's length: how far past where an end is expected it is looked for, and how far beyond
// it the ground must be seen.
constexpr double kBeyond = 0.25;
constexpr double kTellingBeyond = 0.04;

}  // namespace

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

std::vector<double> Strip::profile_across(std::size_t k, const Line& line, double from_px,
                                          double to_px, int steps, int& columns) const {
  std::vector<double> profile(static_cast<std::size_t>(2 * steps + 1), 0.0);
  const double reach = steps * kStep_px + 1.0;
  columns = 0;
  for (double s = from_px; s < to_px; s += 1.0) {
    const int column = static_cast<int>(std::lround(column_of(s)));
    const double row = line.at(first_px_ + column) + half_rows_;
    if (!inside(s) || row < reach || row > 2.0 * half_rows_ - reach) {
      continue;
    }
    ++columns;
    for (int i = -steps; i <= steps; ++i) {
      const double at = row + i * kStep_px;
      // Lit from above, a shaft has a bright and a dark side, and between them somewhere the
      // brightness of what is behind it: it is where the picture changed, either way.
      profile[place_of(i, steps)] +=
          std::abs(at_row(rows_[k], column, at) - at_row(background_, column, at)) /
          at_row(sigma_, column, at);
    }
  }
  for (double& value : profile) {
    value /= std::max(1, columns);
  }
  return profile;
}

std::vector<Strip::Group> Strip::groups_about(std::size_t k, const Line& line, double middle_px,
                                              double length_px) const {
  const double px_per_m = length_px / options_.typical_length_m;
  const double half_width_px = 0.5 * options_.widest_shaft_m * px_per_m + 3.0;
  // Twice as far as the shaft reaches: beyond it only noise is left.
  const int steps = static_cast<int>(std::ceil(2.0 * half_width_px / kStep_px));
  const double from = middle_px + (options_.from_share - 0.5) * length_px;
  const double step = (options_.to_share - options_.from_share) * length_px / options_.groups;
  std::vector<Group> found;
  for (int g = 0; g < options_.groups; ++g) {
    int columns = 0;
    const std::vector<double> profile =
        profile_across(k, line, from + g * step, from + (g + 1) * step, steps, columns);
    constexpr int kLeastColumns = 4;
    if (columns < kLeastColumns) {
      continue;
    }
    const std::optional<Outline> outline =
        outline_in(profile, steps, half_width_px, options_.clear_sigmas);
    if (!outline) {
      continue;
    }
    Group group;
    group.s = from + (g + 0.5) * step;
    group.n = line.at(group.s) + 0.5 * (outline->above_px + outline->below_px);
    // An outline is known to about a pixel over its contrast, but no better than what scenery that
    // changes across the shaft makes of it. Of neighbouring columns a quarter are independent.
    group.sigma_px = std::hypot(0.12, 1.5 / outline->height / std::sqrt(columns / 4.0));
    found.push_back(group);
  }
  return found;
}

std::optional<Strip::StepCost> Strip::step_cost(std::size_t k, const Line& line, double from_px,
                                                double expected_px, double length_px,
                                                double step_px) const {
  const double way = expected_px > from_px ? 1.0 : -1.0;
  const double furthest = expected_px + way * kBeyond * length_px;
  // What is seen along the line and what was there before, a mean of three rows.
  std::vector<double> is;
  std::vector<double> was;
  std::vector<double> noise;
  for (double s = from_px; way * (furthest - s) > 0.0 && inside(s); s += way * step_px) {
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
  const double length = length_px / step_px;
  if (size < static_cast<int>((0.5 + kTellingBeyond) * length)) {
    return std::nullopt;  // the end, or what lies beyond it, is out of the picture
  }
  // The colour of the shaft, from where neither vanes nor the smear of the end reach.
  const auto share = [&](double part) {
    return std::clamp(static_cast<int>(part * length), 0, size - 1);
  };
  std::vector<float> shaft;
  for (int i = share(0.12); i <= share(0.30); ++i) {
    shaft.push_back(static_cast<float>(is[static_cast<std::size_t>(i)]));
  }
  const double colour = static_cast<double>(upper_median(shaft));
  // Covered or not, weighed by how well that can be told.
  StepCost cost;
  for (std::size_t i = 0; i < is.size(); ++i) {
    const double against = colour - was[i];
    const double changed = std::abs(is[i] - was[i]);
    // Vanes, nock and point have colours of their own.
    const double covered = std::min(1.0, changed / std::max(std::abs(against), 2.0 * noise[i]));
    const double weight =
        std::clamp(std::max(std::abs(against), changed) / noise[i] - 1.0, 0.0, 4.0);
    cost.covered.push_back(weight * (1.0 - covered) * (1.0 - covered));
    cost.free.push_back(weight * covered * covered);
    cost.weight.push_back(weight);
  }
  return cost;
}

std::optional<double> Strip::step_in(const StepCost& of, double length) {
  const auto size = static_cast<int>(of.weight.size());
  const int beyond = static_cast<int>(kTellingBeyond * length);
  // The end is where a step fits best, which for the ramp of a smear is its middle.
  std::vector<double> cost(of.weight.size() + 1, 0.0);
  cost[0] = std::accumulate(of.free.begin(), of.free.end(), 0.0);
  for (std::size_t i = 0; i < of.weight.size(); ++i) {
    cost[i + 1] = cost[i] + of.covered[i] - of.free[i];
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
  if (last - first > std::max(8.0, 0.045 * length)) {
    return std::nullopt;
  }
  const int at = static_cast<int>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  // Both sides of the step must be able to tell, and it must not be the edge of what was looked at.
  double telling = 0.0;
  for (int i = std::max(0, at - 2 * beyond); i < std::min(size, at + 2 * beyond); ++i) {
    telling += of.weight[static_cast<std::size_t>(i)];
  }
  if (at < std::clamp(static_cast<int>(0.25 * length), 0, size - 1) || at + beyond >= size ||
      telling < 4.0 * beyond) {
    return std::nullopt;
  }
  return at - 0.5;
}

std::optional<double> Strip::end(std::size_t k, const Line& line, double from_px,
                                 double expected_px, double length_px) const {
  const std::optional<StepCost> cost = step_cost(k, line, from_px, expected_px, length_px, 1.0);
  const std::optional<double> at = cost ? step_in(*cost, length_px) : std::nullopt;
  if (!at) {
    return std::nullopt;
  }
  return from_px + (expected_px > from_px ? *at : -*at);
}

std::optional<double> Strip::end_together(const std::vector<Expected>& arrows, bool tip) const {
  if (arrows.empty()) {
    return std::nullopt;
  }
  const auto in_strip = [&](const Eigen::Vector2d& px) {
    const Eigen::Vector2d from = px - path_.at_px;
    return Eigen::Vector2d(from.dot(path_.along), from.dot(path_.across()));
  };
  const double length = (arrows.front().tip_px - arrows.front().nock_px).norm();
  StepCost sum;
  for (const Expected& arrow : arrows) {
    const Eigen::Vector2d nock = in_strip(arrow.nock_px);
    const Eigen::Vector2d point = in_strip(arrow.tip_px);
    const Eigen::Vector2d shaft = point - nock;
    const Line line{0.5 * (nock.x() + point.x()), 0.5 * (nock.y() + point.y()),
                    shaft.y() / shaft.x()};
    const std::optional<StepCost> one =
        step_cost(arrow.frame, line, line.middle, tip ? point.x() : nock.x(), std::abs(shaft.x()),
                  std::abs(shaft.x()) / length);
    // What leaves the picture early would count for less beyond than before the end.
    const auto whole = static_cast<std::size_t>((0.5 + kBeyond) * length) - 1;
    if (!one || one->weight.size() < whole) {
      continue;
    }
    sum.covered.resize(whole, 0.0);
    sum.free.resize(whole, 0.0);
    sum.weight.resize(whole, 0.0);
    for (std::size_t i = 0; i < whole; ++i) {
      sum.covered[i] += one->covered[i];
      sum.free[i] += one->free[i];
      sum.weight[i] += one->weight[i];
    }
  }
  const std::optional<double> at = sum.weight.empty() ? std::nullopt : step_in(sum, length);
  if (!at) {
    return std::nullopt;
  }
  return *at / length - 0.5;
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

}  // namespace nocktrail::side
