#include "shot_analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <future>

#include "debug_pictures.hpp"
#include "nocktrail/flight/headline.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "nocktrail/track/loose.hpp"
#include "sightings.hpp"

namespace nocktrail::pipeline {
namespace {

struct Stretch {
  std::vector<cv::Mat> luma;
  std::vector<long> index;
  std::vector<double> t_s;
};

// Very high rates: every n-th frame does, and keeps memory and time bounded.
long stride_of(const media::Clip& clip, const AnalysisOptions& options) {
  const std::vector<double>& times = clip.info().frame_t_s;
  const auto frames = static_cast<double>(times.size());
  const double frame_s = (times.back() - times.front()) / std::max(1.0, frames - 1.0);
  const double wanted = (options.before_s + options.after_s) / std::max(frame_s, 1e-6);
  return std::max(
      1L, static_cast<long>(std::ceil(wanted / static_cast<double>(options.most_frames) - 1e-6)));
}

// Appends every stride-th frame up to index `last` to the stretch.
void append_frames(media::Clip& clip, long last, long stride, Stretch& stretch) {
  media::Frame frame;
  while (clip.next(frame)) {
    if (stretch.index.empty() || frame.index - stretch.index.back() >= stride) {
      stretch.luma.push_back(frame.luma);  // shared: the reader does not write over it
      stretch.index.push_back(frame.index);
      stretch.t_s.push_back(frame.t_s);
    }
    if (frame.index + 1 >= last) {
      return;
    }
  }
}

// Index of the first frame at or after a time.
long frame_at(const media::Clip& clip, double t) {
  const std::vector<double>& times = clip.info().frame_t_s;
  return static_cast<long>(std::lower_bound(times.begin(), times.end(), t) - times.begin());
}

Stretch load_stretch(media::Clip& clip, double surge_s, const AnalysisOptions& options) {
  Stretch stretch;
  clip.seek(frame_at(clip, surge_s - options.before_s), {});
  append_frames(clip, frame_at(clip, surge_s + options.after_s), stride_of(clip, options), stretch);
  clip.rest();
  return stretch;
}

// The stretch around the surge of motion that goes with a knock, in one pass over the frames;
// empty when nothing moves there. `surge_s` is set.
Stretch load_heard(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                   double& surge_s) {
  track::LooseOptions loose;
  loose.before_s = std::min(loose.before_s, options.before_s);
  const long stride = stride_of(clip, options);
  Stretch stretch;
  clip.seek(frame_at(clip, knock_s - loose.sound_slack_s - options.before_s), {});
  append_frames(clip, frame_at(clip, knock_s + loose.sound_slack_s), stride, stretch);
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
  stretch.index.erase(stretch.index.begin(), stretch.index.begin() + unused);
  stretch.t_s.erase(stretch.t_s.begin(), stretch.t_s.begin() + unused);
  append_frames(clip, frame_at(clip, surge_s + options.after_s), stride, stretch);
  clip.rest();
  return stretch;
}

// The sensor's row axis in display pixels, see FitOptions::readout_per_px. Rows of the stored
// picture run downward; the container mirrors left to right, then turns clockwise.
Eigen::Vector2d readout_axis(const media::ClipInfo& info) {
  Eigen::Vector2d down(0.0, 1.0);
  for (int turned = 0; turned < info.orientation.rotation_deg; turned += 90) {
    down = Eigen::Vector2d(-down.y(), down.x());
  }
  return down / std::max(1, info.stored_height);
}

flight::FitOptions fit_options(const media::Clip& clip, const AnalysisOptions& options,
                               double frame_s) {
  flight::FitOptions fit;
  fit.priors.focal_relative_sigma = options.focal_relative_sigma;
  if (options.arrow_length_m) {
    fit.priors.length_m = {*options.arrow_length_m, 0.004};
  }
  // A sensor reads out within a frame; phones use between a tenth and all of it.
  const double longest = std::min(0.95 * frame_s, 0.016);
  fit.priors.readout_s = {0.45 * longest, 0.35 * longest};
  fit.readout_per_px = readout_axis(clip.info());
  return fit;
}

flight::Parameters start_from(const track::Sweep& sweep, const flight::FlightPriors& priors,
                              double anchor_s, double focal_px) {
  flight::Parameters p = flight::Parameters::Zero();
  const double speed = std::clamp(priors.length_m.mean / std::max(sweep.cover_s, 1e-3), 42.0, 64.0);
  const double h = speed / sweep.v_per_h(focal_px);
  const double inverse = sweep.inverse_start + sweep.inverse_rate * anchor_s;
  const Eigen::Vector2d centre = sweep.vanishing_px + sweep.outward / inverse;
  p[flight::kVanishX] = sweep.vanishing_px.x();
  p[flight::kVanishY] = sweep.vanishing_px.y();
  p[flight::kCentreX] = centre.x();
  p[flight::kCentreY] = centre.y();
  p[flight::kLogDepth] = std::log(focal_px * h * inverse);
  p[flight::kLogSpeed] = std::log(speed);
  p[flight::kLogLength] = std::log(priors.length_m.mean);
  p[flight::kLogFocal] = std::log(focal_px);
  p[flight::kReadout] = priors.readout_s.mean;
  p[flight::kLogWave] = priors.log_wave.mean;
  p[flight::kDamping] = priors.damping.mean;
  p[flight::kLift] = priors.lift_m.mean;
  p[flight::kDrag] = priors.drag_mps2.mean;
  p[flight::kFlexHz] = priors.flex_hz.mean;
  p[flight::kFlexDecay] = priors.flex_decay.mean;
  p[flight::kTipMass] = priors.tip_mass_ratio.mean;
  p[flight::kMiddle] = priors.middle_m.mean;
  return p;
}

// How far the camera is from the line of flight, metres.
double camera_distance_m(const flight::FlightFit& fit) {
  const flight::ArrowState<double> state = flight::state_of(fit, fit.anchor_s);
  return state.centre_m.cross(state.forward).norm();
}

struct Candidate {
  flight::FlightFit fit;
  std::vector<track::ArrowSighting> sightings;
  flight::Stroke stroke;
  Measured right;  // the headline's, rad
  double high_rad = 0.0;
  OffsetScatter scatter;
};

// From one round to the next. Sideways, what is a small part of the reading's own interval may
// still move; up and down is open by several times as much.
bool at_rest(const Candidate& before, const Candidate& after) {
  constexpr double kRightRad = 0.0009;  // 0.05 deg
  constexpr double kShareOfInterval = 0.15;
  constexpr double kHighRad = 0.0052;  // 0.3 deg
  return std::abs(after.right.value - before.right.value) <
             std::max(kRightRad, kShareOfInterval * after.right.u95) &&
         std::abs(after.high_rad - before.high_rad) < kHighRad;
}

// Where sightings and fit, each following the other, do not come to rest at once, they wander
// about, and how far is part of what is not known: up and down in the `last` rounds, the earlier
// ones being on their way; sideways, where more is asked, in all.
OffsetScatter wandering(const std::vector<Candidate>& rounds, Eigen::Index last) {
  const auto n = static_cast<Eigen::Index>(rounds.size());
  Eigen::ArrayXd right(n);
  Eigen::ArrayXd high(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    right[i] = rounds[static_cast<std::size_t>(i)].right.value;
    high[i] = rounds[static_cast<std::size_t>(i)].high_rad;
  }
  const auto spread = [](const Eigen::ArrayXd& v) {
    return std::sqrt((v - v.mean()).square().mean());
  };
  return {spread(right), spread(high.tail(last))};
}

// Ends of a painted arrow are those of its picture, smear and all: less is left to doubt than where
// contrast falls off. A nock's ears stand some 6 mm behind its throat, and the picture of a point
// ends short of its tip; on clips of known truth, with frames laid exactly on each other, what is
// left scatters by 14 mm at the nock and 10 mm at the point.
flight::FlightPriors with_painted_ends(flight::FlightPriors priors,
                                       const track::PaintedArrow& arrow) {
  const double length_m = priors.length_m.mean;
  priors.nock_end_m = {-0.010, std::hypot(0.010, arrow.begin_sigma * length_m)};
  priors.tip_end_m = {0.0, std::hypot(0.008, arrow.end_sigma * length_m)};
  priors.end_bias_px = 0.5;
  return priors;
}

// Fine measurement and fit in turn, the power stroke after each, so that no frame from before the
// exit takes part in the free flight.
std::optional<Candidate> refine(const track::Region& region, const track::Region& before,
                                flight::FlightFit fit, const std::vector<double>& t_s,
                                double surge_s, const cv::Size& size, double focal_px,
                                flight::FitOptions options,
                                const track::ShaftOptions& shaft_options) {
  double first_s = surge_s + 0.014;
  static constexpr std::array<Search, 3> kSearches{
      {{5.0, 0.3, 0.03, false}, {3.0, 0.25, 0.005, true}, {2.5, 0.2, 0.0, true}}};
  constexpr std::size_t kRounds = 4;
  constexpr std::size_t kDoubtfulRounds = 8;
  constexpr std::ptrdiff_t kLastRounds = 4;  // those before may still be on their way
  constexpr std::size_t kScaleRound = 2;
  constexpr std::size_t kLateScaleRound = 5;
  const flight::FlightPriors given = options.priors;
  KnownArrow known;
  std::vector<Candidate> late;  // the rounds in which only small changes are left
  for (std::size_t round = 0;; ++round) {
    Candidate candidate;
    candidate.sightings =
        fine_sightings(region, fit, first_s, t_s, size,
                       kSearches[std::min(round, kSearches.size() - 1)], shaft_options, known);
    if (candidate.sightings.size() < 4) {
      return std::nullopt;
    }
    options.priors = known.arrow ? with_painted_ends(given, *known.arrow) : given;
    std::vector<track::ArrowSighting> all = candidate.sightings;
    if (round >= 1) {
      const std::vector<track::ArrowSighting> far = far_sightings(region, fit, t_s, size);
      all.insert(all.end(), far.begin(), far.end());
    }
    const auto fit_from = [&](flight::Spread spread) {
      return flight::fit_flight_from_several(all, fit.parameters, spread, fit.anchor_s, focal_px,
                                             fit.principal_px, options);
    };
    // A near, slow arrow and a far, fast one are two valleys: which is deeper shows only once the
    // ends are those of the painted arrow, and once more where the rounds do not settle.
    if (round == 0) {
      fit = fit_from(flight::Spread::flex);
    } else if (round == kScaleRound || round == kLateScaleRound) {
      fit = fit_from(flight::Spread::scale);
    } else {
      fit = flight::fit_flight(all, fit.parameters, fit.anchor_s, focal_px, fit.principal_px,
                               options);
    }
    if (!fit.converged) {
      return std::nullopt;
    }
    const std::vector<flight::TipPlace> places =
        tip_places(before, fit, t_s, surge_s - 0.010, surge_s + 0.026, size, shaft_options);
    candidate.stroke = flight::fit_stroke(fit, places, surge_s, {});
    first_s = candidate.stroke.exit_s + 0.0003;
    options.exit_s = candidate.stroke.exit_s;
    options.exit_sigma_s = candidate.stroke.exit_sigma_s;
    const flight::Headline headline = flight::headline_at(
        fit, candidate.stroke.rest_forward_m, candidate.stroke.rest_sigma_m, flight::kReferenceM);
    candidate.right = headline.right_rad;
    candidate.high_rad = headline.high_rad.value;
    candidate.fit = fit;
    if (round >= 2) {
      late.push_back(std::move(candidate));
    }
    if (round + 1 < kRounds) {
      continue;
    }
    const bool rests = at_rest(late[late.size() - 2], late.back());
    if (rests && round + 1 > kRounds) {
      late.back().scatter = wandering(late, 2);
    }
    if (rests) {
      return std::move(late.back());
    }
    if (round + 1 == kDoubtfulRounds) {
      const OffsetScatter scatter = wandering(late, kLastRounds);
      // The middle one, sideways, of the last.
      const auto middle = late.end() - kLastRounds / 2;
      std::nth_element(
          late.end() - kLastRounds, middle, late.end(),
          [](const Candidate& a, const Candidate& b) { return a.right.value < b.right.value; });
      middle->scatter = scatter;
      return std::move(*middle);
    }
  }
}

ShotAnalysis analyse_stretch(const media::Clip& clip, Stretch stretch, double surge_s,
                             const AnalysisOptions& options);

}  // namespace

bool beyond_doubt(const flight::FlightFit& fit) {
  return fit.frames >= 10 && fit.ends >= 16 && fit.end_scale < kMostEndScale &&
         fit.centre_scale < 2.5;
}

ShotAnalysis analyse_loose(media::Clip& clip, double surge_s, const AnalysisOptions& options) {
  return analyse_stretch(clip, load_stretch(clip, surge_s, options), surge_s, options);
}

ShotAnalysis analyse_knock(media::Clip& clip, double knock_s, const AnalysisOptions& options) {
  double surge_s = knock_s;
  Stretch stretch = load_heard(clip, knock_s, options, surge_s);
  return stretch.luma.empty() ? ShotAnalysis{}
                              : analyse_stretch(clip, std::move(stretch), surge_s, options);
}

namespace {

ShotAnalysis analyse_stretch(const media::Clip& clip, Stretch stretch, double surge_s,
                             const AnalysisOptions& options) {
  ShotAnalysis analysis;
  analysis.frame_index = stretch.index;
  analysis.frame_t_s = stretch.t_s;
  analysis.surge_s = surge_s;
  if (stretch.luma.size() < 8) {
    analysis.outcome = Outcome::disturbed;
    analysis.reason = "too few frames around the loose";
    return analysis;
  }
  const std::vector<double>& t_s = stretch.t_s;
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  const auto frame_near = [&](double t) {
    return static_cast<std::size_t>(
        std::clamp<std::ptrdiff_t>(std::lower_bound(t_s.begin(), t_s.end(), t) - t_s.begin(), 0,
                                   static_cast<std::ptrdiff_t>(t_s.size()) - 1));
  };
  const std::size_t reference = frame_near(surge_s + 0.05);
  steady::SteadyOptions steady_options;
  steady_options.focal_px = options.focal_px;
  analysis.steadied = steady::estimate_motion(stretch.luma, reference, steady_options);
  // Each takes the memory that the one before it gave up: fresh memory costs as much as the work.
  cv::Mat steadied;
  for (std::size_t k = 0; k < stretch.luma.size(); ++k) {
    steady::to_reference(stretch.luma[k], analysis.steadied.motion[k], steadied);
    cv::swap(stretch.luma[k], steadied);
  }
  const cv::Size size = stretch.luma.front().size();
  const Eigen::Vector2d principal((size.width - 1) / 2.0, (size.height - 1) / 2.0);

  track::SweepOptions sweep_options;
  const track::Background background = track::learn_background(stretch.luma, sweep_options);
  cv::Mat still;
  background.nine_mean.convertTo(still, CV_8U, 1.0 / 9.0);
  const std::size_t from = frame_near(surge_s - 0.01);
  const std::vector<track::Passing> passings =
      track::find_passings(stretch.luma, background, from, t_s, sweep_options);
  const track::ShaftOptions shaft_options;
  const flight::FitOptions base_options = fit_options(clip, options, frame_s);
  const double anchor_s = surge_s + 0.055;
  std::optional<ShotAnalysis> best;
  double best_score = 0.0;
  const auto follow = [&](const track::Sweep& sweep) {
    // From the beginning, though some sweeps come to nothing: the other core has time now.
    std::future<steady::Plumb> plumb = std::async(std::launch::async, [&] {
      return steady::find_plumb(still, sweep.vanishing_px, options.focal_px, {});
    });
    const cv::Rect roi = track::region_of(sweep, size);
    std::vector<cv::Rect> in_flight(t_s.size());
    for (std::size_t k = frame_near(surge_s - 0.002); k < t_s.size(); ++k) {
      in_flight[k] = track::part_at(sweep, t_s[k], roi);
    }
    const track::Region region =
        track::cut_region(stretch.luma, roi, 0, stretch.luma.size(), in_flight, shaft_options);
    track::ShaftOptions near_options = shaft_options;
    near_options.edge_slip_px = 0.5;  // bow and archer, a metre away, shift against the far scenery
    std::vector<cv::Rect> at_the_bow(t_s.size());
    for (std::size_t k = frame_near(surge_s - 0.011);
         k < std::min(t_s.size(), frame_near(surge_s + 0.028) + 1); ++k) {
      at_the_bow[k] = roi;
    }
    const track::Region before = track::cut_region(
        stretch.luma, roi, 0, std::max<std::size_t>(3, frame_near(surge_s - 0.012)), at_the_bow,
        near_options);
    std::vector<track::ArrowSighting> coarse = coarse_sightings(region, sweep, t_s, shaft_options);
    std::erase_if(coarse, [&](const auto& s) { return s.t_s < surge_s; });
    if (coarse.size() < 4) {
      return;
    }
    flight::FitOptions coarse_options = base_options;
    coarse_options.coarse = true;
    const flight::FlightFit first = flight::fit_flight_from_several(
        coarse, start_from(sweep, base_options.priors, anchor_s, options.focal_px),
        flight::Spread::pitch, anchor_s, options.focal_px, principal, coarse_options);
    if (!first.converged) {
      return;
    }
    flight::FitOptions fine_options = base_options;
    const steady::Plumb roll = plumb.get();
    fine_options.priors.roll_rad = {roll.roll_rad, roll.sigma_rad};
    std::optional<Candidate> candidate = refine(region, before, first, t_s, surge_s, size,
                                                options.focal_px, fine_options, shaft_options);
    if (!candidate) {
      return;
    }
    // The arrow's shadow recedes like an arrow, but from the ground: a metre and a half further
    // from the camera than the flight.
    const double distance_m = camera_distance_m(candidate->fit);
    if (distance_m < options.least_camera_distance_m ||
        distance_m > options.most_camera_distance_m) {
      return;
    }
    const double score = static_cast<double>(candidate->fit.ends);
    if (!best || score > best_score) {
      best_score = score;
      analysis.sweep = sweep;
      analysis.fit = candidate->fit;
      analysis.sightings = candidate->sightings;
      analysis.stroke = candidate->stroke;
      analysis.scatter = candidate->scatter;
      analysis.outcome = Outcome::measured;
      best = analysis;
      debug_fit(options.debug_dir, surge_s, region, analysis.fit, analysis.sightings);
    }
  };
  const auto sure = [&] { return best && beyond_doubt(best->fit); };
  // The search draws at random: where it found nothing good it is worth another try.
  constexpr int kTries = 3;
  for (int attempt = 0; attempt < kTries && !sure(); ++attempt) {
    const std::vector<track::Sweep> sweeps =
        track::find_sweeps(passings, t_s, options.focal_px, sweep_options);
    debug_sweeps(options.debug_dir, surge_s, stretch.luma[reference], passings, sweeps);
    for (const track::Sweep& sweep : sweeps) {
      if (sweep.frames >= 4 && sweep.score >= sweep_options.least_share * sweeps.front().score) {
        follow(sweep);
      }
      if (sure()) {
        break;
      }
    }
    ++sweep_options.seed;
  }
  return best ? *best : analysis;
}

}  // namespace

}  // namespace nocktrail::pipeline
