#include "nocktrail/track/sweep.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <numbers>

namespace nocktrail::track {
namespace {

struct Covering {
  Eigen::Vector2d at_px;
  double t_s = 0.0;  // middle of the passing
  int frame = 0;     // middle frame
};

// How far beside the path the shaft may lie: a yawed shaft sweeps a fan whose width shrinks with
// the distance from the vanishing point.
double half_width_px(double s) {
  return 2.0 + 0.06 * s;
}

struct Tally {
  double score = 0.0;
  int frames = 0;
};

class Scorer {
 public:
  Scorer(const std::vector<Covering>& events, std::size_t frames, double frame_s)
      : events_(events), per_frame_(frames), tolerance_s_(0.6 * frame_s + 0.002) {}

  bool explains(const Sweep& sweep, const Covering& event, double tolerance_factor = 1.0) const {
    const Eigen::Vector2d from_vp = event.at_px - sweep.vanishing_px;
    const double s = from_vp.dot(sweep.outward);
    if (s < 4.0) {
      return false;
    }
    const double beside = from_vp.x() * sweep.outward.y() - from_vp.y() * sweep.outward.x();
    if (std::abs(beside) > half_width_px(s) * tolerance_factor) {
      return false;
    }
    const double predicted = (1.0 / s - sweep.inverse_start) / sweep.inverse_rate;
    // One pixel along the path is a longer time the farther the arrow is.
    const double pixel_s = 1.0 / (s * s * sweep.inverse_rate);
    return std::abs(event.t_s - predicted) < (tolerance_s_ + 1.0 * pixel_s) * tolerance_factor;
  }

  Tally tally(const Sweep& sweep) {
    std::fill(per_frame_.begin(), per_frame_.end(), 0);
    for (const Covering& event : events_) {
      if (explains(sweep, event)) {
        ++per_frame_[static_cast<std::size_t>(event.frame)];
      }
    }
    Tally tally;
    for (const int n : per_frame_) {
      tally.score += std::min(n, 30);
      tally.frames += n >= 2 ? 1 : 0;
    }
    tally.score *= std::min(1.0, tally.frames / 8.0);
    return tally;
  }

 private:
  const std::vector<Covering>& events_;
  std::vector<int> per_frame_;
  double tolerance_s_;
};

// Least squares over what the sweep explains: the line through the vanishing point and the time
// law, five numbers, by Gauss-Newton on t (weighted by what a pixel and a frame are worth).
Sweep refined(const Sweep& start, const std::vector<Covering>& events, Scorer& scorer,
              double frame_s) {
  Sweep sweep = start;
  for (int round = 0; round < 8; ++round) {
    const double factor = round < 3 ? 1.6 : 1.0;
    Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Zero();
    Eigen::Matrix<double, 5, 1> right = Eigen::Matrix<double, 5, 1>::Zero();
    const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
    int used = 0;
    for (const Covering& event : events) {
      if (!scorer.explains(sweep, event, factor)) {
        continue;
      }
      ++used;
      const Eigen::Vector2d from_vp = event.at_px - sweep.vanishing_px;
      const double s = from_vp.dot(sweep.outward);
      const double beside = from_vp.dot(side);
      // Unknown changes: vp along outward, vp along side, line angle, inverse_start, log rate.
      const double beside_sigma = 0.5 * half_width_px(s);
      Eigen::Matrix<double, 1, 5> row;
      row << 0.0, -1.0, -s, 0.0, 0.0;
      normal += row.transpose() * row / (beside_sigma * beside_sigma);
      right += row.transpose() * (-beside) / (beside_sigma * beside_sigma);
      const double rate = sweep.inverse_rate;
      const double predicted = (1.0 / s - sweep.inverse_start) / rate;
      const double t_sigma = 0.4 * frame_s + 1.0 / (s * s * rate);
      row << 1.0 / (s * s * rate), 0.0, 0.0, -1.0 / rate, -predicted;
      normal += row.transpose() * row / (t_sigma * t_sigma);
      right += row.transpose() * (event.t_s - predicted) / (t_sigma * t_sigma);
    }
    if (used < 12) {
      return sweep;
    }
    normal.diagonal() += Eigen::Matrix<double, 5, 1>(1e-4, 1e-4, 1.0, 1.0, 1.0);
    const Eigen::Matrix<double, 5, 1> step = normal.ldlt().solve(right);
    if (!step.allFinite()) {
      return sweep;
    }
    Sweep next = sweep;
    const double along = std::clamp(step(0), -25.0, 25.0);
    const double across = std::clamp(step(1), -15.0, 15.0);
    next.vanishing_px += along * sweep.outward + across * side;
    next.outward = (sweep.outward + std::clamp(step(2), -0.1, 0.1) * side).normalized();
    next.inverse_start += step(3);
    next.inverse_rate *= std::exp(std::clamp(step(4), -0.3, 0.3));
    sweep = next;
  }
  return sweep;
}

double median_cover_s(const Sweep& sweep, const std::vector<Passing>& passings,
                      const std::vector<Covering>& events, Scorer& scorer, double frame_s) {
  std::vector<int> counts;
  for (std::size_t i = 0; i < events.size(); ++i) {
    const Eigen::Vector2d from_vp = events[i].at_px - sweep.vanishing_px;
    const double s = from_vp.dot(sweep.outward);
    if (s > 25.0 && scorer.explains(sweep, events[i])) {
      counts.push_back(passings[i].count);
    }
  }
  if (counts.empty()) {
    return 0.0137;
  }
  // The upper quartile: a pixel at the fan's edge is covered for less than the whole length.
  const auto at = counts.begin() + static_cast<std::ptrdiff_t>(counts.size() * 3 / 4);
  std::nth_element(counts.begin(), at, counts.end());
  return std::clamp(*at * frame_s, 0.0115, 0.022);  // 0.68 m at 59 m/s, 0.84 m at 38 m/s
}

// Whether two sweeps follow the same body: one line, one rate.
bool alike(const Sweep& a, const Sweep& b) {
  if (a.outward.dot(b.outward) < 0.998 ||
      std::abs(std::log(a.inverse_rate / b.inverse_rate)) > 0.8) {
    return false;
  }
  const Eigen::Vector2d apart = a.vanishing_px - b.vanishing_px;
  return std::abs(apart.x() * a.outward.y() - apart.y() * a.outward.x()) < 25.0;
}

// The best of each body, best first: one bright streak (a shadow, say) must not crowd out another.
void keep_distinct(std::vector<Sweep>& best, const Sweep& sweep) {
  constexpr std::size_t kMost = 40;
  if (best.size() == kMost && sweep.score <= best.back().score) {
    return;
  }
  for (const Sweep& other : best) {
    if (other.score >= sweep.score && alike(other, sweep)) {
      return;
    }
  }
  std::erase_if(best, [&](const Sweep& other) { return alike(other, sweep); });
  const auto place =
      std::upper_bound(best.begin(), best.end(), sweep,
                       [](const Sweep& x, const Sweep& y) { return x.score > y.score; });
  best.insert(place, sweep);
  if (best.size() > kMost) {
    best.pop_back();
  }
}

}  // namespace

std::vector<Sweep> find_sweeps(const std::vector<Passing>& all_passings,
                               const std::vector<double>& t_s, double focal_px,
                               const SweepOptions& options) {
  std::vector<Sweep> found;
  if (all_passings.size() < 20 || t_s.size() < 4) {
    return found;
  }
  boost::random::mt19937_64 random(options.seed);
  auto draw = [&random](std::size_t below) {
    return static_cast<std::size_t>(random() % static_cast<std::uint64_t>(below));
  };
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);

  // Thin out evenly per frame: a burst of limbs and hands must not drown the arrow's frames.
  std::vector<std::vector<std::size_t>> by_frame(t_s.size());
  for (std::size_t i = 0; i < all_passings.size(); ++i) {
    const auto middle = static_cast<std::size_t>(all_passings[i].first) +
                        static_cast<std::size_t>(all_passings[i].count / 2);
    by_frame[std::min(middle, t_s.size() - 1)].push_back(i);
  }
  auto thinned = [&](std::size_t total) {
    std::vector<Passing> kept;
    const std::size_t share = total / t_s.size() + 1;
    for (auto& list : by_frame) {
      for (std::size_t i = 0; i < list.size() && i < share; ++i) {
        std::swap(list[i], list[i + draw(list.size() - i)]);
        kept.push_back(all_passings[list[i]]);
      }
    }
    return kept;
  };
  auto to_events = [&](const std::vector<Passing>& passings) {
    std::vector<Covering> events;
    for (const Passing& p : passings) {
      const auto first = static_cast<std::size_t>(p.first);
      const auto last = static_cast<std::size_t>(p.first + p.count - 1);
      events.push_back({Eigen::Vector2d(static_cast<double>(p.x_px), static_cast<double>(p.y_px)),
                        (t_s[first] + t_s[last]) / 2.0, static_cast<int>((first + last) / 2)});
    }
    return events;
  };
  const std::vector<Passing> many = thinned(options.max_events);
  const std::vector<Passing> few = thinned(options.search_events);
  const std::vector<Covering> search = to_events(few);
  const std::vector<Covering> full = to_events(many);
  std::vector<std::vector<std::size_t>> search_by_frame(t_s.size());
  for (std::size_t i = 0; i < search.size(); ++i) {
    search_by_frame[static_cast<std::size_t>(search[i].frame)].push_back(i);
  }
  std::vector<std::size_t> busy;
  for (std::size_t k = 0; k < search_by_frame.size(); ++k) {
    if (!search_by_frame[k].empty()) {
      busy.push_back(k);
    }
  }
  if (busy.size() < 3) {
    return found;
  }

  Scorer scorer(search, t_s.size(), frame_s);
  std::vector<Sweep> best;
  const double least_down = std::cos(options.most_sideways_deg * std::numbers::pi / 180.0);
  for (int n = 0; n < options.search_draws; ++n) {
    const std::size_t ka = busy[draw(busy.size())];
    const std::size_t kb = busy[draw(busy.size())];
    if (kb <= ka || t_s[kb] - t_s[ka] > 0.07) {
      continue;
    }
    const Covering& a = search[search_by_frame[ka][draw(search_by_frame[ka].size())]];
    const Covering& b = search[search_by_frame[kb][draw(search_by_frame[kb].size())]];
    const Eigen::Vector2d step = a.at_px - b.at_px;
    const double apart = step.norm();
    const double dt = b.t_s - a.t_s;
    if (apart < 6.0 || dt < 0.5 * frame_s || step.y() < least_down * apart) {
      continue;
    }
    const double ratio = options.most_v_per_h / options.least_v_per_h;
    constexpr int kRates = 9;
    for (int r = 0; r < kRates; ++r) {
      const double v_per_h = options.least_v_per_h * std::pow(ratio, (r + 0.5) / kRates);
      Sweep sweep;
      sweep.outward = step / apart;
      sweep.inverse_rate = v_per_h / focal_px;
      // apart / (s_b (s_b + apart)) = rate * dt
      const double q = apart / (sweep.inverse_rate * dt);
      const double s_b = -apart / 2.0 + std::sqrt(apart * apart / 4.0 + q);
      if (!(s_b > 4.0)) {
        continue;
      }
      sweep.vanishing_px = b.at_px - s_b * sweep.outward;
      sweep.inverse_start = 1.0 / s_b - sweep.inverse_rate * b.t_s;
      const Tally tally = scorer.tally(sweep);
      sweep.score = tally.score;
      sweep.frames = tally.frames;
      keep_distinct(best, sweep);
    }
  }

  Scorer full_scorer(full, t_s.size(), frame_s);
  if (best.size() > 12) {
    best.resize(12);
  }
  for (Sweep sweep : best) {
    sweep = refined(sweep, full, full_scorer, frame_s);
    const double v_per_h = sweep.v_per_h(focal_px);
    if (!(v_per_h > 0.9 * options.least_v_per_h && v_per_h < 1.2 * options.most_v_per_h) ||
        sweep.outward.y() < 0.9 * least_down) {
      continue;
    }
    const Tally tally = full_scorer.tally(sweep);
    sweep.score = tally.score;
    sweep.frames = tally.frames;
    sweep.cover_s = median_cover_s(sweep, many, full, full_scorer, frame_s);
    keep_distinct(found, sweep);
  }
  return found;
}

}  // namespace nocktrail::track
