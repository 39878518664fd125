#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/core/utility.hpp>
#include <optional>

#include "nocktrail/median.hpp"
#include "nocktrail/track/painted.hpp"
#include "paint_evidence.hpp"
#include "shaft_common.hpp"
#include "smear.hpp"

namespace nocktrail::track {
namespace {

// Paint is held in bins of this share of the length, from kFirstShare on: some beyond either end.
constexpr double kFirstShare = -0.10;
constexpr int kBins = 150;
double edge_share(int bin) {
  return kFirstShare + kShareStep * bin;
}
constexpr int kNockBin = 12;           // share -0.004
constexpr int kTipBin = kBins - 12;    // share 1.004
constexpr int kWindow = 70;            // bins that matter to one end
constexpr double kWindowShare = 0.28;  // pixels that tell of it
constexpr int kHypotheses = 27;        // of where an end lies: 12 bins out, 14 in
constexpr int kPointBins = 4;          // points are 20 to 30 mm long: common practice, no source

// From the vanes to the point a shaft has one grey, but for stains and grain: this share of what
// the paint of any arrow varies by.
constexpr double kShaftVaries = 0.15;

// Neighbouring pixels, and frames, share what the model gets wrong: as if only every twelfth
// counted.
constexpr double kShared = 12.0;

// A frame that the paint is learnt from.
struct Teacher {
  Passage passage;
  Eigen::Vector4d off;
  std::vector<Pixel> pixels;
  std::vector<double> edges;  // of the bins, fractions of the chord
  Bars bars;
  std::vector<double> trust;  // of each pixel, 0 to 1

  Cover cover(const Pixel& pixel, const std::vector<Chord>& chords) const;
  // The tilted bar of a lit side, for a unit of it.
  double tilt(const Pixel& pixel, const std::vector<Chord>& chords) const;
};

Cover Teacher::cover(const Pixel& pixel, const std::vector<Chord>& chords) const {
  std::array<double, kBins> full{};
  int from = kBins;
  int to = 0;
  const double each = 1.0 / static_cast<double>(chords.size());
  for (const Chord& chord : chords) {
    const OnChord on = passage.on(chord, pixel);
    const double weight = bars.even(on.b) * each;
    if (weight < 1e-4) {
      continue;
    }
    constexpr double kReach = 3.5 * kAlongSoftness_px;
    const double low = (on.a - kReach) / chord.length;
    const double high = (on.a + kReach) / chord.length;
    auto bin = static_cast<std::size_t>(std::max<std::ptrdiff_t>(
        0, std::upper_bound(edges.begin(), edges.end(), low) - edges.begin() - 1));
    if (bin >= kBins || edges[bin] >= high) {
      continue;
    }
    from = std::min(from, static_cast<int>(bin));
    double before = normal_cdf((on.a - edges[bin] * chord.length) / kAlongSoftness_px);
    for (; bin < kBins && edges[bin] < high; ++bin) {
      const double after = normal_cdf((on.a - edges[bin + 1] * chord.length) / kAlongSoftness_px);
      full[bin] += weight * (before - after);
      before = after;
    }
    to = std::max(to, static_cast<int>(bin));
  }
  Cover cover{kBins, {}};
  if (to > from) {
    cover.at = from;
    cover.k.assign(full.begin() + from, full.begin() + to);
  }
  return cover;
}

double Teacher::tilt(const Pixel& pixel, const std::vector<Chord>& chords) const {
  double sum = 0.0;
  for (const Chord& chord : chords) {
    const OnChord on = passage.on(chord, pixel);
    if (on.a > 0.0 && on.a < chord.length) {
      sum += bars.odd(on.b);
    }
  }
  return sum / static_cast<double>(chords.size());
}

double log_sum(const std::vector<double>& v) {
  const double most = *std::max_element(v.begin(), v.end());
  double sum = 0.0;
  for (const double x : v) {
    sum += std::exp(x - most);
  }
  return most + std::log(sum);
}

// Exposure times to weigh, s; near the known one, if any.
std::vector<double> exposures_to_try(double longest_s, const PaintedArrow* known) {
  std::vector<double> exposures;
  for (const double ms : {0.2, 0.45, 0.75, 1.1, 1.6, 2.1, 2.6, 4.0, 8.0}) {
    const double s = 1e-3 * ms;
    if (!exposures.empty() && s > longest_s) {
      break;
    }
    if (known == nullptr || (s > 0.5 * known->exposure_s - 1e-4 && s < 2.0 * known->exposure_s)) {
      exposures.push_back(s);
    }
  }
  if (exposures.empty() && known != nullptr) {
    exposures.push_back(known->exposure_s);
  }
  return exposures;
}

class Learner {
 public:
  Learner(const Region& region, const std::vector<ShaftProfile>& profiles, double side,
          double longest_exposure_s, const ShaftOptions& options, const PaintedPlaces& places)
      : side_(side) {
    constexpr double kLeastLength_px = 12.0;
    std::vector<double> greys;
    std::vector<double> contrasts;
    for (std::size_t k = 0; k < profiles.size(); ++k) {
      const ShaftProfile& profile = profiles[k];
      const double length = profile.length_px();
      if (length < kLeastLength_px || (!places.empty() && !places[k])) {
        continue;
      }
      const Passage passage(profile);
      const Eigen::Vector4d off = places.empty() ? passage.from_profile() : places[k]->off;
      Teacher teacher{passage,
                      off,
                      passage.pixels(region, off, std::min(longest_exposure_s, 0.0026),
                                     0.12 * length + 3.0, passage.width() / 2 + 1.0),
                      {},
                      Bars(passage.width(), options.edge_softness_px),
                      {}};
      teacher.trust.assign(teacher.pixels.size(), 1.0);
      for (int bin = 0; bin <= kBins; ++bin) {
        teacher.edges.push_back(fraction_of(edge_share(bin), passage.ratio()));
      }
      teachers_.push_back(std::move(teacher));
      for (double a = 0.25 * length; a < 0.75 * length; a += 1.0) {
        const double level = level_at(profile.level, profile.first_px, a);
        greys.push_back(level + level_at(profile.background, profile.first_px, a));
        contrasts.push_back(std::abs(level));
      }
    }
    middle_grey_ = upper_median(greys);
    contrast_ = upper_median(contrasts);
    for (double& g : greys) {
      g = std::abs(g - middle_grey_);
    }
    tau_ = std::max({1.5 * upper_median(greys), contrast_, 8.0});
    model_error_ = 0.12 * contrast_ + 0.3;
  }

  std::size_t teachers() const { return teachers_.size(); }

  PaintedArrow learn(double longest_exposure_s, const PaintedArrow* known) {
    if (known != nullptr) {
      trust_by(known->exposure_s, known->first, known->step, known->grey);
    } else {
      // A first paint, to see which pixels something else disturbs.
      constexpr double kUsualExposure_s = 0.00075;
      constexpr int kFirst = kNockBin - 6;
      const PaintSums sums = over_all(kUsualExposure_s);
      const PaintEvidence evidence = evidence_of(sums, kFirst, any_paint(kTipBin - kNockBin + 12));
      trust_by(kUsualExposure_s, edge_share(kFirst), kShareStep, greys_of(evidence));
    }
    const std::vector<double> exposures = exposures_to_try(longest_exposure_s, known);
    // By exposure and end: the evidence of each place of it.
    std::vector<std::array<std::vector<double>, 2>> ends(exposures.size());
    cv::parallel_for_(cv::Range(0, static_cast<int>(exposures.size())), [&](const cv::Range& r) {
      for (int e = r.start; e < r.end; ++e) {
        ends[static_cast<std::size_t>(e)] =
            evidence_of_ends(exposures[static_cast<std::size_t>(e)]);
      }
    });
    PaintedArrow arrow = weigh(exposures, ends);
    const auto nearest_bin = [](double share) {
      return static_cast<int>(std::lround((share - kFirstShare) / kShareStep));
    };
    const int first = std::clamp(nearest_bin(arrow.begin), 0, kBins / 4);
    const int last = std::clamp(nearest_bin(arrow.end), 3 * kBins / 4, kBins);
    const PaintSums sums = over_all(arrow.exposure_s);
    arrow.first = edge_share(first);
    arrow.step = kShareStep;
    arrow.grey = greys_of(evidence_of(sums, first, any_paint(last - first)));
    arrow.side = side_;
    arrow.contrast = contrast_;
    return arrow;
  }

 private:
  std::vector<PaintPiece> any_paint(int bins) const { return {{bins, 0.0, tau_}}; }
  // Any paint makes a front of the ground's own grey a chain of coincidences, one for each bin, and
  // the arrow seem to end where it stops standing out. Of a shaft it is one.
  std::vector<PaintPiece> shaft_and_point(int bins) const {
    const double varies = kShaftVaries * tau_;
    return {{bins - kPointBins, tau_, varies}, {kPointBins, tau_, varies}};
  }
  double y_of(const Teacher& teacher, const Pixel& pixel, const std::vector<Chord>& chords) const {
    return side_ == 0.0 ? pixel.difference : pixel.difference - side_ * teacher.tilt(pixel, chords);
  }
  double weight_of(const Teacher& teacher, std::size_t i) const {
    return teacher.trust[i] /
           (kShared * (teacher.pixels[i].variance + model_error_ * model_error_));
  }
  std::vector<double> greys_of(const PaintEvidence& evidence) const {
    std::vector<double> greys;
    for (const double x : evidence.paint) {
      greys.push_back(middle_grey_ + x);
    }
    return greys;
  }

  // In two halves, one a core; added up in the same order on any machine.
  PaintSums over_all(double exposure_s) const {
    std::array<PaintSums, 2> halves{PaintSums(0, kBins), PaintSums(0, kBins)};
    cv::parallel_for_(cv::Range(0, 2), [&](const cv::Range& range) {
      for (int half = range.start; half < range.end; ++half) {
        for (std::size_t t = static_cast<std::size_t>(half); t < teachers_.size(); t += 2) {
          const Teacher& teacher = teachers_[t];
          const std::vector<Chord> chords = teacher.passage.chords(teacher.off, exposure_s);
          for (std::size_t i = 0; i < teacher.pixels.size(); ++i) {
            const Pixel& pixel = teacher.pixels[i];
            halves[static_cast<std::size_t>(half)].add(
                teacher.cover(pixel, chords), y_of(teacher, pixel, chords),
                middle_grey_ - pixel.background, weight_of(teacher, i));
          }
        }
      }
    });
    PaintSums& sums = halves[0];
    sums.add(halves[1]);
    sums.complete();
    return sums;
  }

  // A pixel that the paint does not explain loses its say.
  void trust_by(double exposure_s, double first, double step, const std::vector<double>& greys) {
    std::array<std::optional<double>, kBins> of_bins;
    for (int bin = 0; bin < kBins; ++bin) {
      const double place = (edge_share(bin) + 0.5 * kShareStep - first) / step;
      if (place >= 0.0 && place < static_cast<double>(greys.size())) {
        of_bins[static_cast<std::size_t>(bin)] = greys[static_cast<std::size_t>(place)];
      }
    }
    cv::parallel_for_(cv::Range(0, static_cast<int>(teachers_.size())), [&](const cv::Range& r) {
      for (int t = r.start; t < r.end; ++t) {
        trust_by(teachers_[static_cast<std::size_t>(t)], exposure_s, of_bins);
      }
    });
  }
  void trust_by(Teacher& teacher, double exposure_s,
                const std::array<std::optional<double>, kBins>& greys) const {
    const std::vector<Chord> chords = teacher.passage.chords(teacher.off, exposure_s);
    for (std::size_t i = 0; i < teacher.pixels.size(); ++i) {
      const Pixel& pixel = teacher.pixels[i];
      const Cover cover = teacher.cover(pixel, chords);
      double predicted = 0.0;
      for (std::size_t j = 0; j < cover.k.size(); ++j) {
        if (const auto& grey = greys[static_cast<std::size_t>(cover.at) + j]) {
          predicted += cover.k[j] * (*grey - pixel.background);
        }
      }
      const double off = y_of(teacher, pixel, chords) - predicted;
      const double variance = pixel.variance + 4.0 * model_error_ * model_error_;
      constexpr double kRobust = 3.0;
      teacher.trust[i] = 1.0 / (1.0 + off * off / (kRobust * kRobust * variance));
    }
  }

  std::array<std::vector<double>, 2> evidence_of_ends(double exposure_s) const {
    std::array<PaintSums, 2> sums{PaintSums(0, kWindow), PaintSums(kBins - kWindow, kWindow)};
    for (const Teacher& teacher : teachers_) {
      const std::vector<Chord> chords = teacher.passage.chords(teacher.off, exposure_s);
      const Chord middle = teacher.passage.chord_at(teacher.off, 0.0);
      for (std::size_t i = 0; i < teacher.pixels.size(); ++i) {
        const Pixel& pixel = teacher.pixels[i];
        const double share =
            share_of(teacher.passage.on(middle, pixel).a / middle.length, teacher.passage.ratio());
        if (share >= kWindowShare && share <= 1.0 - kWindowShare) {
          continue;
        }
        sums[share < kWindowShare ? 0 : 1].add(
            teacher.cover(pixel, chords), y_of(teacher, pixel, chords),
            middle_grey_ - pixel.background, weight_of(teacher, i));
      }
    }
    std::array<std::vector<double>, 2> evidence;
    for (std::size_t end = 0; end < 2; ++end) {
      sums[end].complete();
      for (int h = 0; h < kHypotheses; ++h) {
        const int from = end == 0 ? h : kBins - kWindow;
        const int bins = kWindow - h;
        double log_value = evidence_of(sums[end], from, any_paint(bins)).log_value;
        if (end == 1) {
          log_value =
              either(log_value, evidence_of(sums[end], from, shaft_and_point(bins)).log_value);
        }
        evidence[end].push_back(log_value);
      }
    }
    return evidence;
  }

  // Means over exposures and places of the ends, by their evidence.
  static PaintedArrow weigh(const std::vector<double>& exposures,
                            const std::vector<std::array<std::vector<double>, 2>>& ends) {
    std::vector<double> of_exposure;
    of_exposure.reserve(ends.size());
    for (const auto& end : ends) {
      of_exposure.push_back(log_sum(end[0]) + log_sum(end[1]));
    }
    const double all = log_sum(of_exposure);
    std::array<double, 2> mean{};
    std::array<double, 2> square{};
    PaintedArrow arrow;
    for (std::size_t e = 0; e < exposures.size(); ++e) {
      const double p = std::exp(of_exposure[e] - all);
      arrow.exposure_s += p * exposures[e];
      for (std::size_t end = 0; end < 2; ++end) {
        const double total = log_sum(ends[e][end]);
        for (int h = 0; h < kHypotheses; ++h) {
          const double q = p * std::exp(ends[e][end][static_cast<std::size_t>(h)] - total);
          const double share = edge_share(end == 0 ? h : kBins - h);
          mean[end] += q * share;
          square[end] += q * share * share;
        }
      }
    }
    const auto sigma = [&](std::size_t end) {
      const double variance = std::max(0.0, square[end] - mean[end] * mean[end]);
      return std::hypot(std::sqrt(variance), 0.5 * kShareStep);
    };
    arrow.begin = mean[0];
    arrow.end = mean[1];
    arrow.begin_sigma = sigma(0);
    arrow.end_sigma = sigma(1);
    return arrow;
  }

  double side_;
  double middle_grey_ = 0.0;
  double contrast_ = 0.0;
  double tau_ = 8.0;
  double model_error_ = 1.0;
  std::vector<Teacher> teachers_;
};

}  // namespace

PaintedArrow stretched_to_ends(PaintedArrow arrow) {
  const double length = arrow.end - arrow.begin;
  arrow.first = (arrow.first - arrow.begin) / length;
  arrow.step /= length;
  arrow.begin_sigma /= length;
  arrow.end_sigma /= length;
  arrow.begin = 0.0;
  arrow.end = 1.0;
  return arrow;
}

std::optional<PaintedArrow> learn_painted(const Region& region,
                                          const std::vector<ShaftProfile>& profiles, double side,
                                          double longest_exposure_s, const ShaftOptions& options,
                                          const PaintedPlaces& places, const PaintedArrow* known) {
  constexpr std::size_t kLeastTeachers = 4;
  Learner learner(region, profiles, side, longest_exposure_s, options, places);
  if (learner.teachers() < kLeastTeachers) {
    return std::nullopt;
  }
  return learner.learn(longest_exposure_s, known);
}

}  // namespace nocktrail::track
