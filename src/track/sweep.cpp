#include "nocktrail/track/sweep.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <future>
#include <map>
#include <numbers>
#include <utility>

#include "sweep_scorer.hpp"

namespace nocktrail::track {
namespace {

// How likely an arrow's path leans so much, against not at all: 1 when it runs straight down. It
// ranks streaks; which of one body's fits best it must not decide, or paths come out too steep.
double upright_share(const Sweep& sweep, const SweepOptions& options) {
  const double lean_deg =
      std::atan2(std::abs(sweep.outward.x()), sweep.outward.y()) * 180.0 / std::numbers::pi;
  return std::exp(-0.5 * std::pow(lean_deg / options.usual_sideways_deg, 2));
}

// Least squares over what the sweep explains: the line through the vanishing point and the time
// law, five numbers, by Gauss-Newton on t (weighted by what a pixel and a frame are worth).
// The best of all rounds comes back: a step may lead away.
Sweep refined(const Sweep& start, const std::vector<Covering>& events, Scorer& scorer,
              double frame_s) {
  Sweep best = start;
  Sweep sweep = start;
  best.score = -1.0;
  for (int round = 0;; ++round) {
    const Tally tally = scorer.tally(sweep);
    sweep.score = tally.score;
    sweep.frames = tally.frames;
    if (sweep.score > best.score) {
      best = sweep;
    }
    if (round == 8) {
      return best;
    }
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
      return best;
    }
    normal.diagonal() += Eigen::Matrix<double, 5, 1>(1e-4, 1e-4, 1.0, 1.0, 1.0);
    const Eigen::Matrix<double, 5, 1> step = normal.ldlt().solve(right);
    if (!step.allFinite()) {
      return best;
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
}

double median_cover_s(const Sweep& sweep, const std::vector<Covering>& events, const Scorer& scorer,
                      double frame_s) {
  std::vector<int> counts;
  for (const Covering& event : events) {
    const double s = (event.at_px - sweep.vanishing_px).dot(sweep.outward);
    if (s > 25.0 && scorer.explains(sweep, event)) {
      counts.push_back(event.count);
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

constexpr std::size_t kKept = 4;  // streaks that go on from the draws

void keep_best(std::vector<Sweep>& best, const Sweep& sweep) {
  if (best.size() == kKept && sweep.score <= best.back().score) {
    return;
  }
  best.insert(std::upper_bound(best.begin(), best.end(), sweep,
                               [](const Sweep& x, const Sweep& y) { return x.score > y.score; }),
              sweep);
  best.resize(std::min(best.size(), kKept));
}

// The best streaks among random pairs of passings, each pair with a ladder of rates.
std::vector<Sweep> draw_streaks(const std::vector<Covering>& search, std::size_t frames,
                                double frame_s, double focal_px, const SweepOptions& options,
                                int draws, std::uint64_t seed) {
  std::vector<std::vector<std::size_t>> by_frame(frames);
  for (std::size_t i = 0; i < search.size(); ++i) {
    by_frame[static_cast<std::size_t>(search[i].frame)].push_back(i);
  }
  std::vector<std::size_t> busy;
  for (std::size_t k = 0; k < frames; ++k) {
    if (!by_frame[k].empty()) {
      busy.push_back(k);
    }
  }
  std::vector<Sweep> best;
  if (busy.size() < 3) {
    return best;
  }
  boost::random::mt19937_64 random(seed);
  const auto draw = [&random](std::size_t below) {
    return static_cast<std::size_t>(random() % static_cast<std::uint64_t>(below));
  };
  const double least_down = std::cos(options.most_sideways_deg * std::numbers::pi / 180.0);
  const double longest_s = 0.07;
  const auto within = static_cast<std::size_t>(std::max(1.0, longest_s / frame_s));
  constexpr double kRateStep = 1.32;
  Scorer scorer(search, frames, frame_s);
  for (int n = 0; n < draws; ++n) {
    const std::size_t ia = draw(busy.size());
    const std::size_t ib = ia + 1 + draw(within);
    if (ib >= busy.size()) {
      continue;
    }
    const std::vector<std::size_t>& in_a = by_frame[busy[ia]];
    const std::vector<std::size_t>& in_b = by_frame[busy[ib]];
    const Covering& a = search[in_a[draw(in_a.size())]];
    const Covering& b = search[in_b[draw(in_b.size())]];
    const Eigen::Vector2d step = a.at_px - b.at_px;
    const double apart = step.norm();
    const double dt = b.t_s - a.t_s;
    if (dt > longest_s || apart < 6.0 || dt < 0.5 * frame_s || step.y() < least_down * apart) {
      continue;
    }
    // Distance of b from the vanishing point: apart / (s_b (s_b + apart)) = rate * dt.
    const auto beyond_px = [&](double v_per_h) {
      const double q = apart * focal_px / (v_per_h * dt);
      return -apart / 2.0 + std::sqrt(apart * apart / 4.0 + q);
    };
    scorer.take_line(b.at_px, step / apart, beyond_px(options.least_body_v_per_h));
    Sweep sweep;
    sweep.outward = step / apart;
    const double upright = upright_share(sweep, options);
    for (double v_per_h = options.least_body_v_per_h; v_per_h < options.most_v_per_h;
         v_per_h *= kRateStep) {
      sweep.inverse_rate = v_per_h / focal_px;
      const double s_b = beyond_px(v_per_h);
      if (!(s_b > Scorer::kNearest_px)) {
        continue;
      }
      sweep.vanishing_px = b.at_px - s_b * sweep.outward;
      sweep.inverse_start = 1.0 / s_b - sweep.inverse_rate * b.t_s;
      sweep.score = scorer.tally_on_line(sweep, s_b).score * upright;
      keep_best(best, sweep);
    }
  }
  return best;
}

// The best streak there is: drawn in two shares, one for each core, and the best few refined on
// all passings. Score 0: there is none.
Sweep best_body(const std::vector<Covering>& search, const std::vector<Covering>& full,
                std::size_t frames, double frame_s, double focal_px, const SweepOptions& options,
                std::uint64_t seed) {
  const auto share = [&](std::uint64_t part) {
    return draw_streaks(search, frames, frame_s, focal_px, options, options.search_draws / 2,
                        2 * seed + part);
  };
  std::future<std::vector<Sweep>> other = std::async(std::launch::async, share, std::uint64_t{1});
  std::vector<Sweep> best = share(0);
  for (const Sweep& sweep : other.get()) {
    keep_best(best, sweep);
  }
  Scorer full_scorer(full, frames, frame_s);
  Sweep found;
  for (const Sweep& start : best) {
    Sweep sweep = refined(start, full, full_scorer, frame_s);
    sweep.score *= upright_share(sweep, options);
    if (sweep.score > found.score) {
      found = sweep;
    }
  }
  return found;
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
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  // Times from the middle of the stretch, where rate and start do not hang together.
  const double origin_s = t_s[t_s.size() / 2];

  // Thin out evenly per frame: a burst of limbs and hands must not drown the arrow's frames.
  std::vector<std::vector<std::size_t>> by_frame(t_s.size());
  for (std::size_t i = 0; i < all_passings.size(); ++i) {
    const auto middle = static_cast<std::size_t>(all_passings[i].first) +
                        static_cast<std::size_t>(all_passings[i].count / 2);
    by_frame[std::min(middle, t_s.size() - 1)].push_back(i);
  }
  const auto thinned = [&](std::size_t total, int cell_px) {
    std::vector<Covering> kept;
    const std::size_t share = total / t_s.size() + 1;
    constexpr std::size_t kCells = 24;  // that share it, where there are so many
    for (auto& list : by_frame) {
      std::map<std::pair<int, int>, std::size_t> by_cell;
      std::size_t taken = 0;
      for (std::size_t i = 0; i < list.size() && taken < share; ++i) {
        std::swap(list[i], list[i + static_cast<std::size_t>(random() % (list.size() - i))]);
        const Passing& p = all_passings[list[i]];
        if (cell_px > 0 &&
            ++by_cell[{static_cast<int>(p.x_px) / cell_px, static_cast<int>(p.y_px) / cell_px}] >
                share / kCells + 1) {
          continue;
        }
        ++taken;
        const auto first = static_cast<std::size_t>(p.first);
        const auto last = static_cast<std::size_t>(p.first + p.count - 1);
        kept.push_back({Eigen::Vector2d(static_cast<double>(p.x_px), static_cast<double>(p.y_px)),
                        (t_s[first] + t_s[last]) / 2.0 - origin_s,
                        static_cast<int>((first + last) / 2), p.count});
      }
    }
    return kept;
  };
  std::vector<Covering> full = thinned(options.max_events, 0);
  std::vector<Covering> search = thinned(options.search_events, options.cell_px);

  // One body after the other: what the best streak explains is taken out before the next search,
  // so that a bright one (the arrow's shadow, say) does not crowd out a faint one.
  double top_score = 0.0;
  for (int body = 0; body < options.most_bodies; ++body) {
    Sweep sweep = best_body(search, full, t_s.size(), frame_s, focal_px, options, random());
    if (sweep.frames < 4 || sweep.score < options.least_share * top_score) {
      break;
    }
    const Scorer scorer(full, t_s.size(), frame_s);
    const double v_per_h = sweep.v_per_h(focal_px);
    const double least_down = std::cos(options.most_sideways_deg * std::numbers::pi / 180.0);
    if (v_per_h > 0.9 * options.least_v_per_h && v_per_h < 1.2 * options.most_v_per_h &&
        sweep.outward.y() > 0.9 * least_down) {
      found.push_back(sweep);
      top_score = std::max(top_score, sweep.score);
      found.back().cover_s = median_cover_s(sweep, full, scorer, frame_s);
      found.back().inverse_start -= sweep.inverse_rate * origin_s;
    }
    constexpr double kWider = 2.0;
    const auto explained = [&](const Covering& event) {
      return scorer.explains(sweep, event, kWider);
    };
    std::erase_if(search, explained);
    std::erase_if(full, explained);
  }
  std::stable_sort(found.begin(), found.end(),
                   [](const Sweep& x, const Sweep& y) { return x.score > y.score; });
  return found;
}

}  // namespace nocktrail::track
