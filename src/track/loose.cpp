#include "nocktrail/track/loose.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <numeric>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

namespace nocktrail::track {
namespace {

double quantile_of(std::vector<double> values, double share) {
  if (values.empty()) {
    return 0.0;
  }
  const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

double bright_of(const cv::Mat& luma) {
  constexpr double kShare = 0.95;
  std::vector<double> codes;
  codes.reserve(luma.total());
  for (int y = 0; y < luma.rows; ++y) {
    const auto* row = luma.ptr<unsigned char>(y);
    codes.insert(codes.end(), row, row + luma.cols);
  }
  return quantile_of(std::move(codes), kShare);
}

// Keeps the strongest, each at least `apart_s` from any stronger one.
std::vector<LooseCandidate> strongest(std::vector<LooseCandidate> all, double apart_s,
                                      std::size_t most) {
  std::sort(all.begin(), all.end(),
            [](const LooseCandidate& a, const LooseCandidate& b) { return a.surge > b.surge; });
  std::vector<LooseCandidate> kept;
  for (const LooseCandidate& candidate : all) {
    const bool near = std::any_of(kept.begin(), kept.end(), [&](const LooseCandidate& k) {
      return std::abs(k.t_s - candidate.t_s) < apart_s;
    });
    if (!near && kept.size() < most) {
      kept.push_back(candidate);
    }
  }
  return kept;
}

// How much of the picture moves from one frame to the next, in excess of what each pixel did a
// little earlier: noise in the dark, edges that crawl under hand shake, leaves.
class MotionGauge {
 public:
  explicit MotionGauge(const LooseOptions& options) : options_(options) {}

  double motion(const cv::Mat& now, const cv::Mat& before) {
    cv::Mat difference;
    // Noise averages out over neighbours, a limb or a hand is wider than they are.
    cv::Mat change;
    cv::subtract(now, before, change, cv::noArray(), CV_32F);
    cv::blur(change, change, cv::Size(3, 3));
    difference = cv::abs(change);
    if (variance_.size() != difference.size()) {
      waiting_.clear();
      variance_ = difference.mul(difference);
      cv::blur(variance_, variance_, cv::Size(5, 5));
      seen_ = 1;
      return 0.0;
    }
    cv::Mat sigma;
    cv::sqrt(variance_, sigma);
    cv::Mat excess = difference - cv::max(sigma * options_.clear_sigmas, options_.least_change);
    cv::max(excess, 0.0, excess);
    // What moves now must not count as usual before the loose is over.
    constexpr std::size_t kDelay = 4;
    waiting_.push_back(difference.mul(difference));
    if (waiting_.size() > kDelay) {
      ++seen_;
      cv::accumulateWeighted(waiting_.front(), variance_, std::max(0.06, 1.0 / seen_));
      waiting_.pop_front();
    }
    return cv::mean(excess)[0];
  }

 private:
  const LooseOptions& options_;
  cv::Mat variance_;             // CV_32F, of a pixel's change between frames
  std::deque<cv::Mat> waiting_;  // squared changes not yet in it
  int seen_ = 0;
};

// Surges in a series of motions, strongest first.
std::vector<LooseCandidate> surges_of(const std::vector<double>& motion,
                                      const std::vector<double>& times,
                                      const LooseOptions& options) {
  std::vector<LooseCandidate> surges;
  constexpr double kQuiet = 0.004;  // mean grey levels per pixel of a still picture
  for (std::size_t k = 2; k < motion.size(); ++k) {
    std::vector<double> before;
    for (std::size_t j = k; j-- > 1 && times[k] - times[j] <= options.before_s;) {
      before.push_back(motion[j]);
    }
    // The mean of what follows without its largest: a single jump is a key frame of the codec or
    // a flicker of the light.
    double after = 0.0;
    double largest = 0.0;
    int n = 0;
    for (std::size_t j = k; j < motion.size() && (times[j] - times[k] <= options.after_s || n < 3);
         ++j) {
      after += motion[j];
      largest = std::max(largest, motion[j]);
      ++n;
    }
    if (before.size() < 3 || times[k] - times.front() < 0.3 * options.before_s || n < 2) {
      continue;
    }
    const double calm = quantile_of(before, 0.7) + kQuiet;
    const double ratio = (after - largest) / (n - 1) / calm;
    if (ratio > options.least_surge) {
      // At the ends of a film little is known of what went before, or nothing flies any more.
      const double known = std::min({1.0, (times[k] - times.front()) / options.before_s,
                                     (times.back() - times[k]) / options.flight_s});
      surges.push_back({times[k], ratio * known});
    }
  }
  return strongest(std::move(surges), options.apart_s, options.most);
}

}  // namespace

namespace {

// Means over `count` samples each.
media::Sound thinned(const media::Sound& sound, std::size_t count) {
  media::Sound thin = sound;
  thin.sample_rate_hz /= static_cast<double>(count);
  thin.s_per_sample *= static_cast<double>(count);
  thin.samples.clear();
  for (std::size_t i = 0; i + count <= sound.samples.size(); i += count) {
    const auto from = sound.samples.begin() + static_cast<std::ptrdiff_t>(i);
    thin.samples.push_back(std::accumulate(from, from + static_cast<std::ptrdiff_t>(count), 0.0F) /
                           static_cast<float>(count));
  }
  return thin;
}

}  // namespace

std::vector<double> find_knocks(const media::Sound& as_heard, const LooseOptions& options) {
  // Loudness of the differenced signal (a knock is broad-band, wind and voices are low) in 2 ms
  // windows, of a thinned one in those of as many samples as can be judged.
  const auto count =
      static_cast<std::size_t>(std::max(1.0, as_heard.sample_rate_hz * options.knock_mean_s));
  const media::Sound thin = count > 1 ? thinned(as_heard, count) : media::Sound{};
  const media::Sound& sound = count > 1 ? thin : as_heard;
  const double rate = sound.sample_rate_hz;
  const auto window = static_cast<std::size_t>(std::max(count > 1 ? 8.0 : 4.0, rate * 0.002));
  std::vector<double> loud;
  for (std::size_t i = 1; i + window <= sound.samples.size(); i += window) {
    double sum = 0.0;
    for (std::size_t j = i; j < i + window; ++j) {
      const double step = static_cast<double>(sound.samples[j] - sound.samples[j - 1]);
      sum += step * step;
    }
    loud.push_back(std::sqrt(sum / static_cast<double>(window)));
  }
  const double quiet = quantile_of(loud, 0.5) + 1e-5;
  std::vector<LooseCandidate> knocks;
  constexpr double kBefore_s = 0.06;
  const auto most_before = std::max<std::size_t>(
      static_cast<std::size_t>(kBefore_s * rate / static_cast<double>(window)), 4);
  for (std::size_t i = 2; i < loud.size(); ++i) {
    const std::size_t from = i > most_before ? i - most_before : 0;
    const std::vector<double> before(loud.begin() + static_cast<std::ptrdiff_t>(from),
                                     loud.begin() + static_cast<std::ptrdiff_t>(i) - 1);
    const double ratio = loud[i] / std::max(quiet, quantile_of(before, 0.8));
    if (ratio > options.least_knock) {
      knocks.push_back(
          {sound.start_t_s + (static_cast<double>(i * window) + 1.0) * sound.s_per_sample, ratio});
    }
  }
  std::vector<double> times;
  const double apart = 0.08;
  for (const LooseCandidate& knock : strongest(knocks, apart, options.most_knocks)) {
    times.push_back(knock.t_s);
  }
  return times;
}

std::vector<LooseCandidate> surges_among(const std::vector<cv::Mat>& luma,
                                         const std::vector<double>& t_s,
                                         const LooseOptions& options) {
  std::vector<double> motion(luma.size(), 0.0);
  cv::Mat now;
  cv::Mat previous;
  MotionGauge gauge(options);
  for (std::size_t k = 0; k < luma.size(); ++k) {
    const double scale = 1.0 / options.shrink;
    cv::resize(luma[k], now, cv::Size(), scale, scale, cv::INTER_AREA);
    if (k > 0) {
      motion[k] = gauge.motion(now, previous);
    }
    cv::swap(now, previous);
  }
  return surges_of(motion, t_s, options);
}

Scan scan_motion(media::Clip& clip, long first, long last, const LooseOptions& options,
                 const ScanProgress& progress) {
  const std::vector<double>& t_s = clip.info().frame_t_s;
  last = std::min(last, static_cast<long>(t_s.size()));
  first = std::clamp(first, 0L, last);
  std::vector<double> motion;
  std::vector<double> times;
  clip.seek(first, {.shrink = options.shrink, .fast = true});
  media::Frame frame;
  cv::Mat previous;
  MotionGauge gauge(options);
  std::vector<double> bright;
  constexpr long kBrightEvery = 16;
  for (long k = first; k < last && clip.next(frame); ++k) {
    const bool comparable = !previous.empty() && previous.size() == frame.luma.size();
    motion.push_back(comparable ? gauge.motion(frame.luma, previous) : 0.0);
    times.push_back(frame.t_s);
    if ((k - first) % kBrightEvery == 0) {
      bright.push_back(bright_of(frame.luma));
    }
    cv::swap(previous, frame.luma);
    if (progress && (k - first) % 64 == 0 &&
        !progress(static_cast<double>(k - first) /
                  static_cast<double>(std::max(1L, last - first)))) {
      return {};
    }
  }
  Scan scan;
  scan.surges = surges_of(motion, times, options);
  scan.bright = quantile_of(std::move(bright), 0.5);
  scan.most_motion = motion.empty() ? 0.0 : *std::max_element(motion.begin(), motion.end());
  return scan;
}

}  // namespace nocktrail::track
