#include "nocktrail/track/crossing.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <cmath>
#include <optional>

namespace nocktrail::track {
namespace {

struct Event {
  Eigen::Vector2d at_px;
  double t_s = 0.0;
  std::size_t frame = 0;
};

class Random {
 public:
  explicit Random(std::uint64_t seed) : generator_(seed) {}
  std::size_t below(std::size_t limit) {
    return static_cast<std::size_t>(generator_() % static_cast<std::uint64_t>(limit));
  }

 private:
  boost::random::mt19937_64 generator_;
};

std::vector<Event> drawn_events(const std::vector<Passing>& passings,
                                const std::vector<double>& t_s, const CrossingOptions& options) {
  Random draw(options.seed);
  std::vector<std::vector<Event>> by_frame(t_s.size());
  for (const Passing& p : passings) {
    const auto first = static_cast<std::size_t>(p.first);
    const auto last = static_cast<std::size_t>(p.first + p.count - 1);
    const std::size_t middle = (first + last) / 2;
    by_frame[middle].push_back({{static_cast<double>(p.x_px), static_cast<double>(p.y_px)},
                                (t_s[first] + t_s[last]) / 2.0,
                                middle});
  }
  // Evenly by frame, so that what moves at the loose does not drown what flies after it.
  std::vector<Event> events;
  const std::size_t share = options.search_events / t_s.size() + 1;
  for (std::vector<Event>& in_frame : by_frame) {
    for (std::size_t i = 0; i < in_frame.size() && i < share; ++i) {
      std::swap(in_frame[i], in_frame[i + draw.below(in_frame.size() - i)]);
      events.push_back(in_frame[i]);
    }
  }
  return events;
}

std::optional<Crossing> best_crossing(const std::vector<Event>& events,
                                      const std::vector<double>& t_s, const cv::Size& size,
                                      const CrossingOptions& options) {
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  const double least_px_per_s = options.least_widths_per_s * size.width;
  Random draw(options.seed);
  std::optional<Crossing> best;
  for (int n = 0; n < options.draws; ++n) {
    const Event& a = events[draw.below(events.size())];
    const Event& b = events[draw.below(events.size())];
    const double dt = b.t_s - a.t_s;
    const Eigen::Vector2d step = b.at_px - a.at_px;
    if (dt < 1.5 * frame_s || std::abs(step.x()) < 0.05 * size.width ||
        std::abs(step.y()) > options.most_slope * std::abs(step.x()) ||
        std::abs(step.x()) < least_px_per_s * dt) {
      continue;
    }
    const Eigen::Vector2d velocity = step / dt;
    const Eigen::Vector2d along = velocity.normalized();
    std::vector<int> seen(t_s.size(), 0);
    double least = 1e9;
    double most = -1e9;
    std::vector<double> at_another_time;
    int all = 0;
    for (const Event& event : events) {
      const Eigen::Vector2d from = event.at_px - a.at_px;
      if (std::abs(from.x() * along.y() - from.y() * along.x()) > 6.0) {
        continue;
      }
      const double s = from.dot(along);
      const double late_s = event.t_s - (a.t_s + s / velocity.norm());
      if (std::abs(late_s) > 1.2 * frame_s) {
        at_another_time.push_back(s);
        continue;
      }
      ++seen[event.frame];
      ++all;
      least = std::min(least, s);
      most = std::max(most, s);
    }
    const auto frames = static_cast<int>(std::count_if(
        seen.begin(), seen.end(), [&](int count) { return count >= options.least_passings; }));
    const auto against = std::count_if(at_another_time.begin(), at_another_time.end(),
                                       [&](double s) { return s >= least && s <= most; });
    if (frames < options.least_frames || most - least < options.least_span * size.width ||
        all < options.least_purity * static_cast<double>(all + against)) {
      continue;
    }
    if (!best || frames > best->frames) {
      best = Crossing{a.at_px, a.t_s, velocity, most - least, frames};
    }
  }
  return best;
}

// Whether an event goes with a crossing, amply.
bool belongs(const Event& event, const Crossing& crossing, double frame_s) {
  const Eigen::Vector2d along = crossing.velocity_px_s.normalized();
  const Eigen::Vector2d from = event.at_px - crossing.at_px;
  const double late_s = event.t_s - crossing.t_s - from.dot(along) / crossing.velocity_px_s.norm();
  return std::abs(from.x() * along.y() - from.y() * along.x()) < 14.0 &&
         std::abs(late_s) < 4.0 * frame_s;
}

}  // namespace

std::vector<Crossing> find_crossings(const std::vector<Passing>& passings,
                                     const std::vector<double>& t_s, const cv::Size& size,
                                     const CrossingOptions& options) {
  std::vector<Crossing> found;
  if (passings.size() < 20 || t_s.size() < 4) {
    return found;
  }
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  std::vector<Event> events = drawn_events(passings, t_s, options);
  while (static_cast<int>(found.size()) < options.most_crossings && events.size() >= 20) {
    const std::optional<Crossing> best = best_crossing(events, t_s, size, options);
    if (!best) {
      break;
    }
    found.push_back(*best);
    std::erase_if(events, [&](const Event& event) { return belongs(event, *best, frame_s); });
  }
  return found;
}

}  // namespace nocktrail::track
