// How well a streak explains what passed. Private to the room.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "nocktrail/track/sweep.hpp"

namespace nocktrail::track {

struct Covering {
  Eigen::Vector2d at_px;
  double t_s = 0.0;  // middle of the passing
  int frame = 0;     // middle frame
  int count = 0;     // frames it lasted
};

// How far beside the path the shaft may lie: a yawed shaft sweeps a fan whose width shrinks with
// the distance from the vanishing point.
inline double half_width_px(double s) {
  return 2.0 + 0.06 * s;
}

struct Tally {
  double score = 0.0;
  int frames = 0;
};

class Scorer {
 public:
  static constexpr double kNearest_px = 4.0;  // to the vanishing point: nearer, all is one pixel

  Scorer(const std::vector<Covering>& events, std::size_t frames, double frame_s)
      : events_(events), per_frame_(frames), tolerance_s_(0.6 * frame_s + 0.002) {}

  bool explains(const Sweep& sweep, const Covering& event, double tolerance_factor = 1.0) const {
    return place(sweep, event, tolerance_factor).second == Fits::yes;
  }

  Tally tally(const Sweep& sweep) {
    begin();
    for (const Covering& event : events_) {
      const auto [s, fits] = place(sweep, event, 1.0);
      count(s, fits, event.frame);
    }
    return end();
  }

  // Sweeps along one and the same line, cheaper: what lies too far beside it for any vanishing
  // point up to `farthest_px` before `through` is passed over once.
  void take_line(const Eigen::Vector2d& through, const Eigen::Vector2d& outward,
                 double farthest_px) {
    on_line_.clear();
    for (const Covering& event : events_) {
      const Eigen::Vector2d from = event.at_px - through;
      const double beside = std::abs(from.x() * outward.y() - from.y() * outward.x());
      const double along = from.dot(outward);
      if (beside < half_width_px(along + farthest_px)) {
        on_line_.push_back({along, beside, event.t_s, event.frame});
      }
    }
  }
  // Of a sweep whose vanishing point lies `before_px` before that point. In the innermost loop of
  // the search: place() without its divisions.
  Tally tally_on_line(const Sweep& sweep, double before_px) {
    begin();
    for (const OnLine& event : on_line_) {
      const double s = event.along_px + before_px;
      if (s < kNearest_px || event.beside_px > half_width_px(s)) {
        continue;
      }
      const double off =
          s - s * s * (sweep.inverse_start + sweep.inverse_rate * event.t_s);  // s² rate times late
      const bool in_time = std::abs(off) < s * s * sweep.inverse_rate * tolerance_s_ + 1.0;
      count(s, in_time ? Fits::yes : Fits::at_another_time, event.frame);
    }
    return end();
  }

 private:
  enum class Fits { yes, beside, at_another_time };

  // Distance from the vanishing point, and how the passing fits the sweep.
  std::pair<double, Fits> place(const Sweep& sweep, const Covering& event,
                                double tolerance_factor) const {
    const Eigen::Vector2d from_vp = event.at_px - sweep.vanishing_px;
    const double s = from_vp.dot(sweep.outward);
    if (s < kNearest_px) {
      return {s, Fits::beside};
    }
    const double beside = from_vp.x() * sweep.outward.y() - from_vp.y() * sweep.outward.x();
    if (std::abs(beside) > half_width_px(s) * tolerance_factor) {
      return {s, Fits::beside};
    }
    const double predicted = (1.0 / s - sweep.inverse_start) / sweep.inverse_rate;
    // One pixel along the path is a longer time the farther the arrow is.
    const double pixel_s = 1.0 / (s * s * sweep.inverse_rate);
    const bool in_time =
        std::abs(event.t_s - predicted) < (tolerance_s_ + 1.0 * pixel_s) * tolerance_factor;
    return {s, in_time ? Fits::yes : Fits::at_another_time};
  }

  void begin() {
    std::fill(per_frame_.begin(), per_frame_.end(), 0);
    other_.clear();
    nearest_px_ = 1e9;
    farthest_px_ = 0.0;
  }
  void count(double s, Fits fits, int frame) {
    if (fits == Fits::yes) {
      ++per_frame_[static_cast<std::size_t>(frame)];
      nearest_px_ = std::min(nearest_px_, s);
      farthest_px_ = std::max(farthest_px_, s);
    } else if (fits == Fits::at_another_time) {
      other_.push_back(s);
    }
  }
  Tally end() const {
    Tally tally;
    int all = 0;
    for (const int n : per_frame_) {
      tally.score += std::min(n, 30);
      tally.frames += n >= 2 ? 1 : 0;
      all += n;
    }
    // A receding body passes each pixel of its path once. Where most of the path changes at other
    // times too, limbs or leaves are swinging.
    const auto against = std::count_if(other_.begin(), other_.end(), [&](double s) {
      return s >= nearest_px_ && s <= farthest_px_;
    });
    tally.score *=
        std::min(1.0, tally.frames / 8.0) * all / std::max(1.0, static_cast<double>(all + against));
    return tally;
  }

  const std::vector<Covering>& events_;
  std::vector<int> per_frame_;
  double tolerance_s_;
  std::vector<double> other_;
  double nearest_px_ = 0.0;
  double farthest_px_ = 0.0;
  struct OnLine {
    double along_px = 0.0;
    double beside_px = 0.0;
    double t_s = 0.0;
    int frame = 0;
  };
  std::vector<OnLine> on_line_;
};

}  // namespace nocktrail::track
