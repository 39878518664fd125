#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

#include "nocktrail/track/sweep.hpp"
#include "sort_stack.hpp"

namespace nocktrail::track {
namespace {

// Work goes strip by strip, so that what it touches stays in the cores' own memory.
constexpr int kStripRows = 16;

int strips_of(const cv::Size& size) {
  return (size.height + kStripRows - 1) / kStripRows;
}

cv::Range rows_of_strip(int strip, const cv::Size& size) {
  return {strip * kStripRows, std::min(size.height, (strip + 1) * kStripRows)};
}

// Of a strip of a picture, too: the filter looks at the rows around it.
cv::Mat nine_times_mean(const cv::Mat& luma) {
  cv::Mat sum;
  cv::boxFilter(luma, sum, CV_16U, cv::Size(3, 3), cv::Point(-1, -1), false, cv::BORDER_REPLICATE);
  return sum;
}

// Indices of up to so many of the frames, drawn evenly.
std::vector<std::size_t> drawn(std::size_t frames, int most) {
  const std::size_t count = std::min(frames, static_cast<std::size_t>(most));
  std::vector<std::size_t> indices(count);
  for (std::size_t i = 0; i < count; ++i) {
    indices[i] = count > 1 ? i * (frames - 1) / (count - 1) : 0;
  }
  return indices;
}

}  // namespace

cv::Mat median_picture(const std::vector<cv::Mat>& pictures, int most) {
  const std::vector<std::size_t> indices = drawn(pictures.size(), most);
  const cv::Size size = pictures.front().size();
  cv::Mat median(size, pictures.front().type());
  cv::parallel_for_(cv::Range(0, strips_of(size)), [&](const cv::Range& range) {
    for (int strip = range.start; strip < range.end; ++strip) {
      const cv::Range rows = rows_of_strip(strip, size);
      std::vector<cv::Mat> stack;
      stack.reserve(indices.size());
      for (const std::size_t k : indices) {
        stack.push_back(pictures[k].rowRange(rows).clone());
      }
      sort_stack(stack);
      stack[stack.size() / 2].copyTo(median.rowRange(rows));
    }
  });
  return median;
}

Background learn_background(const std::vector<cv::Mat>& steadied, const SweepOptions& options) {
  const std::vector<std::size_t> indices = drawn(steadied.size(), options.background_frames);
  const std::size_t count = indices.size();
  const cv::Size size = steadied.front().size();
  Background background;
  background.nine_mean.create(size, CV_16U);
  cv::Mat spread(size, CV_16U);
  cv::parallel_for_(cv::Range(0, strips_of(size)), [&](const cv::Range& range) {
    for (int strip = range.start; strip < range.end; ++strip) {
      const cv::Range rows = rows_of_strip(strip, size);
      std::vector<cv::Mat> stack;
      stack.reserve(count);
      for (const std::size_t k : indices) {
        stack.push_back(nine_times_mean(steadied[k].rowRange(rows)));
      }
      sort_stack(stack);
      stack[count / 2].copyTo(background.nine_mean.rowRange(rows));
      cv::subtract(stack[count - 1 - count / 4], stack[count / 4], spread.rowRange(rows));
    }
  });
  // Interquartile range to sigma, smoothed over a neighbourhood since a handful of frames gives a
  // poor estimate for one pixel.
  cv::Mat sigma;
  spread.convertTo(sigma, CV_32F, 1.0 / 1.2);
  cv::boxFilter(sigma, sigma, CV_32F, cv::Size(9, 9));
  cv::max(sigma, 9.0 * options.grey_floor, sigma);
  cv::Mat mean;
  background.nine_mean.convertTo(mean, CV_32F);
  cv::Mat gx;
  cv::Mat gy;
  cv::Sobel(mean, gx, CV_32F, 1, 0, 3, options.edge_slip_px / 8.0);
  cv::Sobel(mean, gy, CV_32F, 0, 1, 3, options.edge_slip_px / 8.0);
  cv::Mat slip;
  cv::magnitude(gx, gy, slip);
  cv::magnitude(sigma, slip, sigma);
  sigma.convertTo(background.nine_sigma, CV_16U);
  return background;
}

std::vector<Passing> find_passings(const std::vector<cv::Mat>& steadied,
                                   const Background& background, std::size_t from,
                                   const std::vector<double>& t_s, const SweepOptions& options) {
  const cv::Size size = background.nine_mean.size();
  const std::size_t frames = std::min<std::size_t>(steadied.size(), 64);
  cv::Mat threshold;
  background.nine_sigma.convertTo(threshold, CV_16U, options.threshold_sigma);
  std::vector<std::uint64_t> bits(static_cast<std::size_t>(size.area()), 0);
  cv::parallel_for_(cv::Range(0, strips_of(size)), [&](const cv::Range& range) {
    cv::Mat difference;
    cv::Mat changed;
    for (int strip = range.start; strip < range.end; ++strip) {
      const cv::Range rows = rows_of_strip(strip, size);
      for (std::size_t k = 0; k < frames; ++k) {
        cv::absdiff(nine_times_mean(steadied[k].rowRange(rows)),
                    background.nine_mean.rowRange(rows), difference);
        cv::compare(difference, threshold.rowRange(rows), changed, cv::CMP_GT);
        const std::uint64_t bit = std::uint64_t{1} << k;
        for (int y = 0; y < changed.rows; ++y) {
          const unsigned char* mask = changed.ptr<unsigned char>(y);
          std::uint64_t* row = bits.data() + static_cast<std::size_t>(rows.start + y) *
                                                 static_cast<std::size_t>(size.width);
          for (int x = 0; x < size.width; ++x) {
            row[x] |= mask[x] != 0 ? bit : 0;
          }
        }
      }
    }
  });
  // Runs of changed frames, bounded by unchanged ones.
  std::vector<Passing> passings;
  constexpr int kMargin = 6;
  for (int y = kMargin; y < size.height - kMargin; ++y) {
    const std::uint64_t* row =
        bits.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(size.width);
    for (int x = kMargin; x < size.width - kMargin; ++x) {
      std::uint64_t left = row[x];
      if (left == 0 || std::popcount(left) > 40) {
        continue;
      }
      while (left != 0) {
        const int first = std::countr_zero(left);
        const int count = std::countr_one(left >> first);
        left &= ~(((count < 64 ? (std::uint64_t{1} << count) : 0) - 1) << first);
        const auto last = static_cast<std::size_t>(first + count - 1);
        if (static_cast<std::size_t>(first) < from || first == 0 || last + 1 >= frames) {
          continue;
        }
        const double lasted = t_s[last + 1] - t_s[static_cast<std::size_t>(first)];
        const double frame = t_s[last + 1] - t_s[last];
        if (lasted > options.longest_cover_s + frame) {
          continue;
        }
        // Noise makes specks, an arrow a streak: the same instant must show around the pixel too.
        const int middle = first + count / 2;
        int around = 0;
        for (int dy = -2; dy <= 2; ++dy) {
          const std::uint64_t* near = row + static_cast<std::ptrdiff_t>(dy) * size.width;
          for (int dx = -2; dx <= 2; ++dx) {
            around += static_cast<int>((near[x + dx] >> middle) & 1U);
          }
        }
        if (around < options.least_around) {
          continue;
        }
        passings.push_back({static_cast<float>(x), static_cast<float>(y),
                            static_cast<std::int16_t>(first), static_cast<std::int16_t>(count)});
      }
    }
  }
  return passings;
}

}  // namespace nocktrail::track
