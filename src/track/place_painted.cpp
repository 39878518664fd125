#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "matched.hpp"
#include "nocktrail/track/painted.hpp"
#include "shaft_common.hpp"
#include "smear.hpp"

namespace nocktrail::track {
namespace {

// Light of the arrow along the chord, blurred, and how much of it is there at all, at even steps of
// the fraction of the chord.
class PaintTable {
 public:
  PaintTable(const PaintedArrow& arrow, double ratio, double length) {
    constexpr double kPerPixel = 4.0;
    constexpr double kMargin_px = 5.0;
    std::vector<double> edges;
    for (std::size_t i = 0; i <= arrow.grey.size(); ++i) {
      edges.push_back(fraction_of(arrow.first + arrow.step * static_cast<double>(i), ratio) *
                      length);
    }
    step_ = 1.0 / (kPerPixel * length);
    first_ = (edges.front() - kMargin_px) / length;
    start_ = first_ / step_;
    const auto steps =
        static_cast<int>((edges.back() - edges.front() + 2 * kMargin_px) * kPerPixel) + 2;
    for (int k = 0; k < steps; ++k) {
      const double a = (first_ + k * step_) * length;
      const auto above = std::upper_bound(edges.begin(), edges.end(), a - 4.0 * kAlongSoftness_px);
      auto i = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, above - edges.begin() - 1));
      const double whole = normal_cdf((a - edges[i]) / kAlongSoftness_px);
      double before = whole;
      double sum = 0.0;
      for (; i < arrow.grey.size() && edges[i] < a + 4.0 * kAlongSoftness_px; ++i) {
        const double after = normal_cdf((a - edges[i + 1]) / kAlongSoftness_px);
        sum += arrow.grey[i] * (before - after);
        before = after;
      }
      values_.push_back({sum, whole - before});
    }
  }
  // Places per px of a chord of this length; the place is `per_px` times the distance from the
  // nock.
  double per_px(double chord_length) const { return 1.0 / (step_ * chord_length); }
  struct Value {
    double light = 0.0;
    double there = 0.0;
  };
  struct Here {
    Value value;
    Value slope;  // a place
  };
  // False beyond the arrow.
  bool at(double place, Here& here) const {
    const double c = place - start_;
    if (!(c >= 0.0) || c >= static_cast<double>(values_.size()) - 1.0) {
      return false;
    }
    const auto k = static_cast<int>(c);  // converts faster than an unsigned one
    const double f = c - k;
    const Value* const value = values_.data() + k;
    here.value = {(1 - f) * value[0].light + f * value[1].light,
                  (1 - f) * value[0].there + f * value[1].there};
    here.slope = {value[1].light - value[0].light, value[1].there - value[0].there};
    return true;
  }

 private:
  double first_ = 0.0;
  double step_ = 1.0;
  double start_ = 0.0;  // first_ in steps
  std::vector<Value> values_;
};

// One frame's pixels against the painted arrow.
class Matcher {
 public:
  Matcher(const Region& region, const ShaftProfile& profile, const PaintedArrow& arrow,
          const ShaftOptions& options)
      : passage_(profile),
        arrow_(&arrow),
        bars_(passage_.width(), options.edge_softness_px),
        table_(arrow, passage_.ratio(), passage_.length()),
        pixels_(passage_.pixels(region, passage_.from_profile(), arrow.exposure_s,
                                profile.expected.search_along_px + 4.0,
                                passage_.width() / 2 + 2.5)) {
    // Paint, blur and alignment are all a little off.
    const double model_error = 0.08 * arrow.contrast + 0.3;
    // Vanes stand beside the rear of the shaft, as strong as it: where no slice was found to be
    // clear of them, what is seen tells where the arrow ends, not where its middle is.
    constexpr double kVanesTo = 0.16;
    const double vanes_px = fraction_of(kVanesTo, passage_.ratio()) * passage_.length();
    const double half_slice_px = 0.5 * slice_px(passage_.length());
    for (const Pixel& pixel : pixels_) {
      inverse_sigma_.push_back(1.0 / std::sqrt(pixel.variance + model_error * model_error));
      const double p = std::max(pixel.p, half_slice_px + 1.0);
      const bool clear =
          std::any_of(profile.centre_at_px.begin(), profile.centre_at_px.end(),
                      [&](double at) { return std::abs(p - at) <= half_slice_px + 0.75; });
      beside_vanes_.push_back(pixel.p < vanes_px && !clear);
    }
  }

  std::size_t size() const { return pixels_.size(); }
  const Passage& passage() const { return passage_; }

  std::vector<double> predict(const Eigen::Vector4d& off, double apart_px) const {
    return predict(off, apart_px, [](const Chord&) {
      return [](std::size_t, const OnChord&, const PaintTable::Here&) {};
    });
  }

  double residual(std::size_t i, const std::vector<double>& predicted) const {
    return (pixels_[i].difference - predicted[i]) * inverse_sigma_[i];
  }

  // Cauchy's cost and weight, in sigmas.
  static constexpr double kRobust = 3.0;
  static double weight(double r) { return 1.0 / (1.0 + r * r / (kRobust * kRobust)); }
  double cost(const std::vector<double>& predicted) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < pixels_.size(); ++i) {
      const double r = residual(i, predicted) / kRobust;
      sum += kRobust * kRobust * std::log1p(r * r);
    }
    return sum;
  }

  // How much of the predicted light is there, between two places along: 1 where all of it is.
  double seen(const std::vector<double>& predicted, double from_px, double to_px) const {
    Matched matched;
    for (std::size_t i = 0; i < pixels_.size(); ++i) {
      if (pixels_[i].p > from_px && pixels_[i].p < to_px) {
        matched.add(predicted[i], pixels_[i].difference, inverse_sigma_[i] * inverse_sigma_[i]);
      }
    }
    return matched.squares > 0.0 ? matched.contrast() : 1.0;
  }

  struct Equations {
    Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
    Eigen::Vector4d gradient = Eigen::Vector4d::Zero();
    double squares = 0.0;
    double weights = 0.0;
  };
  // Sets what is predicted there as well.
  Equations linearise(const Eigen::Vector4d& off, std::vector<double>& predicted) const {
    std::vector<Eigen::Vector4d> slopes(pixels_.size(), Eigen::Vector4d::Zero());
    int chords = 0;
    predicted = predict(off, Passage::kApart_px, [&](const Chord& chord) {
      ++chords;
      return [&, shifts = Passage::shifts_of(chord)](std::size_t i, const OnChord& on,
                                                     const PaintTable::Here& here) {
        add_slopes(chord, shifts, on, here, pixels_[i].background, slopes[i]);
      };
    });
    Equations equations;
    for (std::size_t i = 0; i < pixels_.size(); ++i) {
      const double r = residual(i, predicted);
      const double w = weight(r);
      Eigen::Vector4d j = slopes[i] * (inverse_sigma_[i] / chords);
      if (beside_vanes_[i]) {
        j.tail<2>().setZero();
      }
      equations.normal += w * j * j.transpose();
      equations.gradient += w * r * j;
      equations.squares += w * r * r;
      equations.weights += w;
    }
    return equations;
  }

 private:
  // `looks` makes of a chord what is shown each pixel that it lights.
  template <typename Looks>
  std::vector<double> predict(const Eigen::Vector4d& off, double apart_px,
                              const Looks& looks) const {
    std::vector<double> seen(pixels_.size(), 0.0);
    const std::vector<Chord> chords = passage_.chords(off, arrow_->exposure_s, apart_px);
    PaintTable::Here here;
    for (const Chord& chord : chords) {
      const double per_px = table_.per_px(chord.length);
      const auto look = looks(chord);
      for (std::size_t i = 0; i < pixels_.size(); ++i) {
        const OnChord on = passage_.on(chord, pixels_[i]);
        if (std::abs(on.b) >= bars_.reach() || !table_.at(on.a * per_px, here)) {
          continue;
        }
        seen[i] += bars_.even(on.b) * (here.value.light - here.value.there * pixels_[i].background);
        if (arrow_->side != 0.0) {
          seen[i] += arrow_->side * here.value.there * bars_.odd(on.b);
        }
        look(i, on, here);
      }
    }
    for (double& s : seen) {
      s /= static_cast<double>(chords.size());
    }
    return seen;
  }

  // How what a chord lights a pixel by changes with each of the four offsets, a px.
  void add_slopes(const Chord& chord, const std::array<Shift, 4>& shifts, const OnChord& on,
                  const PaintTable::Here& here, double background, Eigen::Vector4d& slopes) const {
    const double side = arrow_->side;
    const double by_b =
        bars_.even_slope(on.b) * (here.value.light - here.value.there * background) +
        side * here.value.there * bars_.odd_slope(on.b);
    const double by_place = bars_.even(on.b) * (here.slope.light - here.slope.there * background) +
                            side * here.slope.there * bars_.odd(on.b);
    const double per_px = table_.per_px(chord.length);
    for (std::size_t k = 0; k < shifts.size(); ++k) {
      const Eigen::Vector2d change = Passage::change_of(chord, shifts[k], on);
      const double places = per_px * (change.x() - on.a * shifts[k].longer_px / chord.length);
      slopes[static_cast<Eigen::Index>(k)] += by_b * change.y() + by_place * places;
    }
  }

  Passage passage_;
  const PaintedArrow* arrow_;
  Bars bars_;
  PaintTable table_;
  std::vector<Pixel> pixels_;
  std::vector<double> inverse_sigma_;
  std::vector<bool> beside_vanes_;
};

// Sets which ends something nearer may hide.
void doubt_ends(const Region& region, const ShaftProfile& profile, const Matcher& matcher,
                const std::vector<double>& predicted, PaintedPlace& place) {
  constexpr double kLeastSeen = 0.6;
  const double length = profile.length_px();
  const double zone = std::clamp(0.15 * length, 4.0, 15.0);
  const double nock = place.off[PaintedPlace::kNockAlong];
  const double tip = length + place.off[PaintedPlace::kTipAlong];
  const Eigen::Vector2d across(-profile.along.y(), profile.along.x());
  const auto at = [&](double along, double off) -> Eigen::Vector2d {
    return profile.expected.nock_px + profile.along * along + across * off;
  };
  place.nock_may_be_hidden =
      matcher.seen(predicted, nock - 1.0, nock + zone) < kLeastSeen ||
      nock_at_an_edge(region, profile, at(nock, place.off[PaintedPlace::kNockAcross]));
  place.tip_may_be_hidden =
      matcher.seen(predicted, tip - zone, tip + 1.0) < kLeastSeen ||
      tip_at_an_edge(region, profile, at(tip, place.off[PaintedPlace::kTipAcross]));
}

}  // namespace

std::optional<PaintedPlace> place_painted(const Region& region, const ShaftProfile& profile,
                                          const PaintedArrow& arrow, const ShaftOptions& options,
                                          const PaintedPlace* start) {
  const Matcher matcher(region, profile, arrow, options);
  constexpr std::size_t kLeastPixels = 20;
  if (matcher.size() < kLeastPixels) {
    return std::nullopt;
  }
  const double reach = profile.expected.search_along_px;
  Eigen::Vector4d off = start != nullptr ? start->off : matcher.passage().from_profile();
  const auto about = [&](const Eigen::Vector4d& at) {
    return matcher.cost(matcher.predict(at, 2.0 * Passage::kApart_px));
  };
  double cost = about(off);
  // One end after the other over the whole reach, then both together with the line.
  for (const int end : {PaintedPlace::kNockAlong, PaintedPlace::kTipAlong}) {
    constexpr double kStep_px = 2.0;
    Eigen::Vector4d best = off;
    const double far = start != nullptr ? kStep_px : reach;
    for (double d = -far; d <= far + 1e-9; d += kStep_px) {
      Eigen::Vector4d trial = off;
      trial[end] += d;
      if (const double c = about(trial); c < cost) {
        cost = c;
        best = trial;
      }
    }
    off = best;
  }
  std::vector<double> predicted;
  double cost_before = 0.0;
  constexpr int kRounds = 12;
  for (int round = 0; round < kRounds; ++round) {
    Matcher::Equations equations = matcher.linearise(off, predicted);
    if (round == 0) {
      cost_before = matcher.cost(predicted);
    }
    equations.normal.diagonal() *= 1.02;
    equations.normal.diagonal().array() += 1e-9;
    const Eigen::Vector4d step = equations.normal.ldlt().solve(equations.gradient);
    off += step.cwiseMax(-1.0).cwiseMin(1.0);
    const double chord_px =
        profile.length_px() + off[PaintedPlace::kTipAlong] - off[PaintedPlace::kNockAlong];
    if (!step.allFinite() || chord_px < 2.0) {
      return std::nullopt;
    }
    if (step.norm() < 0.03) {
      break;
    }
  }
  Matcher::Equations equations = matcher.linearise(off, predicted);
  // The line beside vanes is not the one that fits best there, so that a little is lost by rights.
  constexpr double kWorse = 1.02;
  const double left = matcher.cost(predicted);
  if (!(left < kWorse * cost_before) || std::abs(off[PaintedPlace::kNockAlong]) > reach + 1.0 ||
      std::abs(off[PaintedPlace::kTipAlong]) > reach + 1.0) {
    return std::nullopt;
  }
  equations.normal.diagonal().array() += 1e-6;
  // Neighbouring pixels share what codec and model get wrong: as if only every fourth counted.
  constexpr double kShared = 4.0;
  PaintedPlace place;
  place.off = off;
  place.covariance = kShared * std::max(1.0, equations.squares / std::max(1.0, equations.weights)) *
                     equations.normal.inverse();
  place.cost = left;
  doubt_ends(region, profile, matcher, predicted, place);
  return place;
}

ArrowSighting sight_painted(const ShaftProfile& profile, const PaintedArrow& arrow,
                            const PaintedPlace& place, const ShaftOptions& options) {
  using Place = PaintedPlace;
  ArrowSighting sighting;
  sighting.frame = static_cast<int>(profile.frame);
  sighting.t_s = profile.t_s;
  sighting.shown = profile.shown;
  sighting.front_shown = profile.front_shown;
  const double length = profile.length_px();
  const double chord = length + place.off[Place::kTipAlong] - place.off[Place::kNockAlong];
  const double ratio = profile.expected.depth_ratio;
  const double nock = place.off[Place::kNockAlong] + chord * fraction_of(arrow.begin, ratio);
  const double tip = place.off[Place::kNockAlong] + chord * fraction_of(arrow.end, ratio);
  const Eigen::Vector2d across(-profile.along.y(), profile.along.x());
  const auto point_at = [&](double a) -> Eigen::Vector2d {
    const double u = (a - place.off[Place::kNockAlong]) / chord;
    const double off = (1 - u) * place.off[Place::kNockAcross] + u * place.off[Place::kTipAcross] +
                       bow_at(profile.expected, u * length, length);
    return profile.expected.nock_px + profile.along * a + across * off;
  };
  for (const double u : {0.15, 0.5, 0.85}) {
    const double variance =
        (1 - u) * (1 - u) * place.covariance(Place::kNockAcross, Place::kNockAcross) +
        u * u * place.covariance(Place::kTipAcross, Place::kTipAcross) +
        2 * u * (1 - u) * place.covariance(Place::kNockAcross, Place::kTipAcross);
    sighting.centre.push_back(
        {point_at(nock + u * (tip - nock)),
         std::hypot(std::sqrt(std::max(variance, 0.0)), options.centre_floor_px)});
  }
  const auto end_sigma = [&](Place::Index end, double share) {
    return std::hypot(std::sqrt(place.covariance(end, end)), options.painted_floor_px,
                      share * length);
  };
  const double nock_sigma = end_sigma(Place::kNockAlong, options.nock_share);
  const double tip_sigma = end_sigma(Place::kTipAlong, options.tip_share);
  const double useless = std::max(2.5, 0.2 * length);
  if (nock_sigma < useless) {
    sighting.nock = EndPoint{point_at(nock), nock_sigma, place.nock_may_be_hidden};
  }
  if (tip_sigma < useless) {
    sighting.tip = EndPoint{point_at(tip), tip_sigma, place.tip_may_be_hidden};
  }
  return sighting;
}

}  // namespace nocktrail::track
