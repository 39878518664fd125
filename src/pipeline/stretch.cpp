#include "stretch.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "nocktrail/track/loose.hpp"

namespace nocktrail::pipeline {
namespace {

// So many frames at full size are held at once: 64 at 1080p, 43 at 4K, so that with the decoder's
// own a clip of 4K is read within 1 GB.
std::size_t most_frames(const media::Clip& clip, const AnalysisOptions& options) {
  constexpr double kMostBytes = 360e6;
  const media::ClipInfo& info = clip.info();
  const double frame_bytes = 1.0 * info.stored_width * info.stored_height;
  return std::clamp<std::size_t>(static_cast<std::size_t>(kMostBytes / std::max(frame_bytes, 1.0)),
                                 kLeastStretchFrames, options.most_frames);
}

// Very high rates: every n-th frame does, and keeps memory and time bounded.
long stride_of(const media::Clip& clip, const AnalysisOptions& options) {
  const std::vector<double>& times = clip.info().frame_t_s;
  const auto frames = static_cast<double>(times.size());
  const double frame_s = (times.back() - times.front()) / std::max(1.0, frames - 1.0);
  const double wanted = (options.before_s + options.after_s) / std::max(frame_s, 1e-6);
  return std::max(1L, static_cast<long>(std::ceil(
                          wanted / static_cast<double>(most_frames(clip, options)) - 1e-6)));
}

media::ReadOptions with_colour() {
  media::ReadOptions read;
  read.chroma = true;
  return read;
}

void append(const media::Frame& frame, Stretch& stretch) {
  stretch.luma.push_back(frame.luma);  // shared: the reader does not write over it
  if (!frame.chroma_u.empty()) {
    cv::Mat warmth;
    constexpr double kNone = 128.0;
    cv::addWeighted(frame.chroma_v, 1.0, frame.chroma_u, -1.0, kNone, warmth);
    stretch.warmth.push_back(warmth);
  }
  stretch.index.push_back(frame.index);
  stretch.t_s.push_back(frame.t_s);
}

// Appends every stride-th frame up to index `last` to the stretch.
void append_frames(media::Clip& clip, long last, long stride, Stretch& stretch, Effort& effort) {
  media::Frame frame;
  while (clip.next(frame)) {
    effort.spend(effort.options.decode_ns_per_px * 1e-6 * static_cast<double>(frame.luma.total()));
    if (stretch.index.empty() || frame.index - stretch.index.back() >= stride) {
      append(frame, stretch);
    }
    if (frame.index + 1 >= last) {
      return;
    }
  }
}

long frame_at(const media::Clip& clip, double t) {
  const std::vector<double>& times = clip.info().frame_t_s;
  return static_cast<long>(std::lower_bound(times.begin(), times.end(), t) - times.begin());
}

}  // namespace

long first_frame_of(const media::Clip& clip, double surge_s, const AnalysisOptions& options) {
  return frame_at(clip, surge_s - options.before_s);
}

Stretch load_stretch(media::Clip& clip, double surge_s, const AnalysisOptions& options,
                     Effort& effort) {
  Stretch stretch;
  clip.seek(first_frame_of(clip, surge_s, options), with_colour());
  append_frames(clip, frame_at(clip, surge_s + options.after_s), stride_of(clip, options), stretch,
                effort);
  clip.rest();
  return stretch;
}

Stretch load_heard(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                   double& surge_s, Effort& effort) {
  track::LooseOptions loose;
  loose.before_s = std::min(loose.before_s, options.before_s);
  const long stride = stride_of(clip, options);
  Stretch stretch;
  clip.seek(frame_at(clip, knock_s - loose.sound_slack_s - options.before_s), with_colour());
  append_frames(clip, frame_at(clip, knock_s + loose.sound_slack_s), stride, stretch, effort);
  const std::vector<track::LooseCandidate> surges =
      track::surges_among(stretch.luma, stretch.t_s, loose);
  if (surges.empty()) {
    return {};
  }
  surge_s = surges.front().t_s;
  const auto unused =
      std::lower_bound(stretch.t_s.begin(), stretch.t_s.end(), surge_s - options.before_s) -
      stretch.t_s.begin();
  stretch.luma.erase(stretch.luma.begin(), stretch.luma.begin() + unused);
  if (!stretch.warmth.empty()) {
    stretch.warmth.erase(stretch.warmth.begin(), stretch.warmth.begin() + unused);
  }
  stretch.index.erase(stretch.index.begin(), stretch.index.begin() + unused);
  stretch.t_s.erase(stretch.t_s.begin(), stretch.t_s.begin() + unused);
  append_frames(clip, frame_at(clip, surge_s + options.after_s), stride, stretch, effort);
  clip.rest();
  return stretch;
}

Stretch load_with(media::Clip& clip, double from_s, double to_s, const std::vector<long>& wanted,
                  const AnalysisOptions& options) {
  const long first = std::max(0L, frame_at(clip, from_s));
  const long last = frame_at(clip, to_s);
  const auto most = static_cast<long>(most_frames(clip, options));
  const long stride = std::max(1L, (last - first + most - 1) / most);
  Stretch stretch;
  clip.seek(first, {});
  media::Frame frame;
  while (clip.next(frame)) {
    if ((frame.index - first) % stride == 0 ||
        std::binary_search(wanted.begin(), wanted.end(), frame.index)) {
      append(frame, stretch);
    }
    if (frame.index >= last) {
      break;
    }
  }
  clip.rest();
  return stretch;
}

cv::Mat mean_between(const std::vector<cv::Mat>& luma, const ShotAnalysis& shot, double from_s,
                     double to_s) {
  cv::Mat sum;
  int frames = 0;
  for (std::size_t k = 0; k < luma.size(); ++k) {
    const double t_s = shot.frame_t_s[k];
    if (t_s < from_s || (t_s > to_s && frames > 0) || luma[k].empty() ||
        shot.steadied.motion[k].lost) {
      continue;
    }
    if (frames == 0) {
      sum = cv::Mat::zeros(luma[k].size(), CV_32F);
    }
    cv::accumulate(luma[k], sum);
    ++frames;
  }
  cv::Mat mean;
  if (frames > 0) {
    sum.convertTo(mean, CV_8U, 1.0 / frames);
  }
  return mean;
}

}  // namespace nocktrail::pipeline
