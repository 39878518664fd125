#include "nocktrail/side/sight.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "nocktrail/median.hpp"
#include "sampling.hpp"

namespace nocktrail::side {

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
      const float middle = upper_median(values);
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
