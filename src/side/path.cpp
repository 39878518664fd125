#include "nocktrail/side/path.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

namespace nocktrail::side {
namespace {

struct Seen {
  Eigen::Vector2d at_px;
  double t_s;  // middle of the time for which it was covered
  double lasted_s;
  std::size_t frame;
};

std::vector<Seen> seen_of(const std::vector<track::Passing>& passings,
                          const std::vector<double>& t_s, double frame_s) {
  std::vector<Seen> all;
  all.reserve(passings.size());
  for (const track::Passing& p : passings) {
    const auto first = static_cast<std::size_t>(p.first);
    const auto last = static_cast<std::size_t>(p.first + p.count - 1);
    all.push_back({{static_cast<double>(p.x_px), static_cast<double>(p.y_px)},
                   0.5 * (t_s[first] + t_s[last]),
                   t_s[last] - t_s[first] + frame_s,
                   (first + last) / 2});
  }
  return all;
}

// 0.66 m at 65 m/s to 0.82 m at 40 m/s.
constexpr double kLeastCover_s = 0.0102;
constexpr double kMostCover_s = 0.0205;

// How far off the path an event may be.
struct Reach {
  double across_px;
  double frames;
};

}  // namespace

std::optional<Path> find_path(const track::Crossing& crossing,
                              const std::vector<track::Passing>& passings,
                              const std::vector<double>& t_s) {
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  const std::vector<Seen> all = seen_of(passings, t_s, frame_s);
  Path path;
  path.at_px = crossing.at_px;
  path.along = crossing.velocity_px_s.normalized();
  path.from_s = crossing.t_s;
  path.rate_px_s = crossing.velocity_px_s.norm();
  // The vanes and a shaft that lies across the path widen the line; a limb or a hand beside it is
  // shut out as it narrows.
  constexpr std::array<Reach, 5> kReaches{
      {{9.0, 1.3}, {9.0, 1.1}, {12.0, 1.0}, {12.0, 0.9}, {12.0, 0.9}}};
  for (const Reach& reach : kReaches) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    Eigen::Matrix2d line = Eigen::Matrix2d::Zero();
    Eigen::Vector2d off = Eigen::Vector2d::Zero();
    const Eigen::Vector2d across = path.across();
    std::vector<double> lasted;
    int count = 0;
    std::vector<int> by_frame(t_s.size(), 0);
    for (const Seen& seen : all) {
      const Eigen::Vector2d from = seen.at_px - path.at_px;
      const double s = from.dot(path.along);
      const double n = from.dot(across);
      const double tau = seen.t_s - path.from_s;
      const double speed = path.speed_px_s(seen.t_s);
      if (std::abs(n) > reach.across_px || speed <= 0.0 || 1.0 + path.recede_per_s * tau < 0.3 ||
          std::abs(s - path.middle_px(seen.t_s)) > reach.frames * frame_s * speed) {
        continue;
      }
      const Eigen::Vector3d row(1.0, tau, -s * tau);
      normal += row * row.transpose();
      right += row * s;
      const Eigen::Vector2d along_row(1.0, s);
      line += along_row * along_row.transpose();
      off += along_row * n;
      lasted.push_back(seen.lasted_s);
      ++count;
      ++by_frame[seen.frame];
    }
    if (count < 60) {
      return std::nullopt;
    }
    // Held near an even run where a short one does not say.
    normal(2, 2) += 1e-4 * static_cast<double>(count) * path.rate_px_s * path.rate_px_s * 1e-2;
    const Eigen::Vector3d run = normal.ldlt().solve(right);
    const Eigen::Vector2d lean = line.ldlt().solve(off);
    if (!run.allFinite() || !lean.allFinite() || run[1] <= 0.0) {
      return std::nullopt;
    }
    path.start_px = run[0];
    path.rate_px_s = run[1];
    path.recede_per_s = run[2];
    path.at_px += across * lean[0];
    path.along = (path.along + across * lean[1]).normalized();
    // Where ground and shaft are of one brightness, covers are broken into short ones.
    const auto long_one = lasted.begin() + static_cast<std::ptrdiff_t>(lasted.size() * 85 / 100);
    std::nth_element(lasted.begin(), long_one, lasted.end());
    path.cover_s = std::clamp(*long_one, kLeastCover_s, kMostCover_s);
    path.frames = static_cast<int>(
        std::count_if(by_frame.begin(), by_frame.end(), [](int seen) { return seen >= 3; }));
  }
  if (path.frames < 4) {
    return std::nullopt;
  }
  return path;
}

}  // namespace nocktrail::side
