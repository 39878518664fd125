#include "smear.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace nocktrail::track {

double normal_cdf(double x) {
  constexpr double kReach = 4.0;
  constexpr int kPerUnit = 128;
  static const std::vector<double> kTable = [] {
    std::vector<double> table;
    for (int i = 0; i <= static_cast<int>(2 * kReach) * kPerUnit + 1; ++i) {
      const double at = static_cast<double>(i) / kPerUnit - kReach;
      table.push_back(0.5 * std::erfc(-at / std::numbers::sqrt2));
    }
    return table;
  }();
  if (x <= -kReach) {
    return 0.0;
  }
  if (x >= kReach) {
    return 1.0;
  }
  const double c = (x + kReach) * kPerUnit;
  const auto i = static_cast<int>(c);  // converts faster than an unsigned one
  const double f = c - i;
  const double* const value = kTable.data() + i;
  return (1 - f) * value[0] + f * value[1];
}

Bars::Bars(double width, double softness) : reach_(width / 2 + 4.0 * softness) {
  const auto steps = static_cast<std::size_t>(reach_ / kStep) + 2;
  for (std::size_t i = 0; i <= steps; ++i) {
    const double b = static_cast<double>(i) * kStep;
    even_.push_back(bar(b, width, softness));
    odd_.push_back(tilted_bar(b, width, softness));
  }
}

Passage::Passage(const ShaftProfile& profile) : profile_(&profile), length_(profile.length_px()) {
  const Eigen::Vector2d& along = profile.along;
  const Eigen::Vector2d across(-along.y(), along.x());
  const Expected& expected = profile.expected;
  nock_velocity_ = {expected.nock_velocity_px_s.dot(along),
                    expected.nock_velocity_px_s.dot(across)};
  tip_velocity_ = {expected.tip_velocity_px_s.dot(along), expected.tip_velocity_px_s.dot(across)};
}

double Passage::width() const {
  return std::max(1.0, profile_->expected.width_px);
}

Eigen::Vector4d Passage::from_profile() const {
  return {0.0, 0.0, profile_->line_offset, profile_->line_offset + profile_->line_slope * length_};
}

Chord Passage::chord_at(const Eigen::Vector4d& off, double t_s) const {
  using Place = PaintedPlace;
  const Eigen::Vector2d nock =
      Eigen::Vector2d(off[Place::kNockAlong], off[Place::kNockAcross]) + t_s * nock_velocity_;
  const Eigen::Vector2d tip =
      Eigen::Vector2d(length_ + off[Place::kTipAlong], off[Place::kTipAcross]) +
      t_s * tip_velocity_;
  Chord chord;
  chord.nock = nock;
  chord.length = std::max(1.0, (tip - nock).norm());
  chord.along = (tip - nock) / chord.length;
  chord.bow_steps_per_px = bow_steps_per_px(profile_->expected, chord.length);
  return chord;
}

std::array<Shift, 4> Passage::shifts_of(const Chord& chord) {
  using Place = PaintedPlace;
  const double x = chord.along.x();
  const double y = chord.along.y();
  std::array<Shift, 4> shifts;
  shifts[Place::kNockAlong] = {-x, y, y / chord.length, -x};
  shifts[Place::kTipAlong] = {0.0, 0.0, -y / chord.length, x};
  shifts[Place::kNockAcross] = {-y, -x, -x / chord.length, -y};
  shifts[Place::kTipAcross] = {0.0, 0.0, x / chord.length, y};
  return shifts;
}

std::vector<Chord> Passage::chords(const Eigen::Vector4d& off, double exposure_s,
                                   double apart_px) const {
  constexpr double kMost_px = 12.0 * kApart_px;  // of smear
  const double smear_px = exposure_s * std::max(nock_velocity_.norm(), tip_velocity_.norm());
  const int n = std::max(1, static_cast<int>(std::ceil(std::min(smear_px, kMost_px) / apart_px)));
  std::vector<Chord> chords;
  chords.reserve(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    chords.push_back(chord_at(off, exposure_s * ((i + 0.5) / n - 0.5)));
  }
  return chords;
}

std::vector<Pixel> Passage::pixels(const Region& region, const Eigen::Vector4d& off,
                                   double exposure_s, double beyond_px, double beside_px) const {
  const Eigen::Vector2d& along = profile_->along;
  const Eigen::Vector2d across(-along.y(), along.x());
  const Eigen::Vector2d origin =
      profile_->expected.nock_px - Eigen::Vector2d(region.roi.x, region.roi.y);
  std::vector<Chord> chords;
  Eigen::Vector2d low = Eigen::Vector2d::Constant(1e9);
  Eigen::Vector2d high = -low;
  for (const double t : {-0.5, -0.25, 0.0, 0.25, 0.5}) {
    const Chord chord = chord_at(off, t * exposure_s);
    for (const double a : {-beyond_px, chord.length + beyond_px}) {
      const Eigen::Vector2d pq = chord.nock + a * chord.along;
      const Eigen::Vector2d at = origin + pq.x() * along + pq.y() * across;
      low = low.cwiseMin(at);
      high = high.cwiseMax(at);
    }
    chords.push_back(chord);
  }
  const cv::Mat& difference = region.difference[profile_->frame];
  const cv::Point part = region.corner_of(profile_->frame);
  const double margin = beside_px + 4.0;  // for the bend
  const int x0 = std::max(part.x, static_cast<int>(low.x() - margin));
  const int x1 = std::min(part.x + difference.cols - 1, static_cast<int>(high.x() + margin));
  const int y0 = std::max(part.y, static_cast<int>(low.y() - margin));
  const int y1 = std::min(part.y + difference.rows - 1, static_cast<int>(high.y() + margin));
  std::vector<Pixel> pixels;
  for (int y = y0; y <= y1; ++y) {
    for (int x = x0; x <= x1; ++x) {
      const Eigen::Vector2d from_nock = Eigen::Vector2d(x, y) - origin;
      Pixel pixel;
      pixel.p = from_nock.dot(along);
      pixel.q = from_nock.dot(across);
      const bool near = std::any_of(chords.begin(), chords.end(), [&](const Chord& chord) {
        const OnChord place = on(chord, pixel);
        return std::abs(place.b) < beside_px && place.a > -beyond_px &&
               place.a < chord.length + beyond_px;
      });
      if (!near) {
        continue;
      }
      pixel.difference = static_cast<double>(difference.at<float>(y - part.y, x - part.x));
      pixel.background = static_cast<double>(region.background.at<float>(y, x));
      const auto sigma = static_cast<double>(region.sigma.at<float>(y, x));
      // Noise, and as much again for what the codec makes of a thing that moves.
      pixel.variance = 1.7 * sigma * sigma;
      pixels.push_back(pixel);
    }
  }
  return pixels;
}

}  // namespace nocktrail::track
