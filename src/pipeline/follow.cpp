#include "follow.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <future>

#include "debug_pictures.hpp"
#include "flight_start.hpp"
#include "impact.hpp"
#include "nocktrail/flight/headline.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "sightings.hpp"

namespace nocktrail::pipeline {
namespace {

// How far the camera is from the line of flight, metres.
double camera_distance_m(const flight::FlightFit& fit) {
  const flight::ArrowState<double> state = flight::state_of(fit, fit.anchor_s);
  return state.centre_m.cross(state.forward).norm();
}

// From one round to the next. Sideways, what is a small part of the reading's own interval may
// still move; up and down is open by several times as much.
bool at_rest(const Followed& before, const Followed& after) {
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
OffsetScatter wandering(const std::vector<Followed>& rounds, Eigen::Index last) {
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

// What shows of an arrow is not its axis. Archers nock it with the odd vane away from the bow, so
// that another points down, by 9 to 17 mm at its tip for vanes of 10 to 20 mm (common practice, no
// source); seen from above and behind, what hangs below the axis looks like more arrow at the rear,
// by several pixels near the bow. It is in the way for part of the vane's length only, hence a
// third of that in the mean. Nock and point have shapes and lights of their own.
constexpr flight::Prior kRearDrop_m{0.004, 0.010};
constexpr double kNockBias_px = 1.8;
constexpr double kTipBias_px = 1.1;

// Ends of a painted arrow are those of its picture, smear and all: less is left to doubt than where
// contrast falls off. A nock's ears stand some 6 mm behind its throat, and the picture of a point
// ends short of its tip; on clips of known truth, with frames laid exactly on each other, what is
// left scatters by 14 mm at the nock and 10 mm at the point.
flight::FlightPriors with_painted_ends(flight::FlightPriors priors,
                                       const track::PaintedArrow& arrow) {
  const double length_m = priors.length_m.mean;
  priors.nock_end_m = {-0.010, std::hypot(0.010, arrow.begin_sigma * length_m)};
  priors.tip_end_m = {0.0, std::hypot(0.008, arrow.end_sigma * length_m)};
  priors.nock_bias_px = kNockBias_px;
  priors.tip_bias_px = kTipBias_px;
  priors.rear_drop_m = kRearDrop_m;
  return priors;
}

// When the motion surged, and how well that tells the time of the loose.
struct Surge {
  double t_s = 0.0;
  double sigma_s = flight::StrokeOptions{}.surge_sigma_s;
};

// What only a streak that may be an arrow needs.
struct Later {
  std::future<steady::Plumb> plumb;
  std::future<track::Region> before;  // the picture as it was before the arrow left
};

// Whether the first round sees so little that it is no arrow: those that could be measured (77 of
// known truth) were seen for 54 ms and more in it, half of the limbs, strings and leaves for less
// than this.
bool hopeless_at_once(const std::vector<track::ArrowSighting>& sightings, std::size_t both,
                      double frame_s, const AnalysisOptions& options) {
  constexpr double kLeastSeenS = 0.042;
  return both < options.hardly_any_ends &&
         static_cast<double>(sightings.size()) * frame_s < kLeastSeenS;
}

// Whether round after round sees hardly any frame with both ends: an arrow shows them in most of
// its frames from the first rounds on, limbs, strings and leaves never do.
bool hopeless(const std::vector<std::size_t>& both, const AnalysisOptions& options,
              const Effort& effort) {
  const auto last_are_below = [&](std::size_t rounds, std::size_t least) {
    return both.size() >= rounds && std::all_of(both.end() - static_cast<std::ptrdiff_t>(rounds),
                                                both.end(), [&](auto n) { return n < least; });
  };
  return last_are_below(2, options.hardly_any_ends) ||
         last_are_below(3, effort.may_go_on() ? options.few_ends : options.few_ends_late);
}

// Fine measurement and fit in turn, the power stroke after each, so that no frame from before the
// exit takes part in the free flight.
std::optional<Followed> refine(const track::Region& region, Later& later, flight::FlightFit fit,
                               const std::vector<double>& t_s, const Surge& surge,
                               const cv::Size& size, const AnalysisOptions& analysis_options,
                               flight::FitOptions options, const track::ShaftOptions& shaft_options,
                               Effort& effort) {
  const double surge_s = surge.t_s;
  const double focal_px = analysis_options.focal_px;
  double first_s = surge_s + 0.014;
  static constexpr std::array<Search, 3> kSearches{
      {{5.0, 0.3, 0.03, false}, {3.0, 0.25, 0.005, true}, {2.5, 0.2, 0.0, true}}};
  constexpr std::size_t kRounds = 4;
  constexpr std::size_t kDoubtfulRounds = 8;
  constexpr std::ptrdiff_t kLastRounds = 4;  // those before may still be on their way
  constexpr std::size_t kScaleRound = 2;
  constexpr std::size_t kLateScaleRound = 5;
  flight::FlightPriors given = options.priors;
  track::Region before;
  const double frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
  std::optional<double> in_the_air_s;  // from string to butt, heard
  KnownArrow known;
  std::vector<Followed> late;     // the rounds in which only small changes are left
  std::vector<std::size_t> both;  // frames with both ends seen, by round
  for (std::size_t round = 0;; ++round) {
    Followed candidate;
    candidate.sightings =
        fine_sightings(region, fit, first_s, t_s, size,
                       kSearches[std::min(round, kSearches.size() - 1)], shaft_options, known);
    effort.spend(effort.options.round_ms);
    both.push_back(static_cast<std::size_t>(
        std::count_if(candidate.sightings.begin(), candidate.sightings.end(),
                      [](const auto& s) { return s.nock.has_value() && s.tip.has_value(); })));
    if (candidate.sightings.size() < 4 || hopeless(both, analysis_options, effort)) {
      return std::nullopt;
    }
    if (round == 0) {
      if (hopeless_at_once(candidate.sightings, both.back(), frame_s, analysis_options)) {
        return std::nullopt;
      }
      const steady::Plumb roll = later.plumb.get();
      given.roll_rad = {roll.roll_rad, roll.sigma_rad};
      before = later.before.get();
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
    // What only colour shows is of use where its ends are an arrow's, and given up soon elsewhere.
    constexpr double kFarOff = 2.0;
    if (!fit.converged || (analysis_options.colour && round >= kScaleRound &&
                           fit.end_scale > kFarOff * kMostEndScale)) {
      return std::nullopt;
    }
    const std::vector<flight::TipPlace> places =
        tip_places(before, fit, t_s, surge_s - 0.010, surge_s + 0.026, size, shaft_options);
    flight::StrokeOptions stroke_options;
    stroke_options.surge_sigma_s = surge.sigma_s;
    stroke_options.camera_behind_m = given.camera_behind_m;
    candidate.stroke = flight::fit_stroke(fit, places, surge_s, stroke_options);
    first_s = candidate.stroke.exit_s + 0.0003;
    options.exit_s = candidate.stroke.witnessed_exit_s;
    options.exit_sigma_s = candidate.stroke.witnessed_exit_sigma_s;
    if (analysis_options.target_distance_m) {
      if (!in_the_air_s && round >= 1) {
        in_the_air_s = heard_in_the_air_s(
            fit, candidate.stroke, *analysis_options.target_distance_m, analysis_options.sounds);
      }
      if (in_the_air_s) {
        options.flown = flown_to_butt(fit, candidate.stroke, *analysis_options.target_distance_m,
                                      *in_the_air_s);
      }
    }
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
          [](const Followed& a, const Followed& b) { return a.right.value < b.right.value; });
      middle->scatter = scatter;
      return std::move(*middle);
    }
  }
}

// Index of the first frame at or after a time, the last one where there is none.
std::size_t frame_near(const std::vector<double>& t_s, double t) {
  return static_cast<std::size_t>(
      std::clamp<std::ptrdiff_t>(std::lower_bound(t_s.begin(), t_s.end(), t) - t_s.begin(), 0,
                                 static_cast<std::ptrdiff_t>(t_s.size()) - 1));
}

// One streak, with the surge taken as it is.
std::optional<Followed> follow_at(const Scene& scene, const track::Sweep& sweep, const Surge& surge,
                                  const AnalysisOptions& options, int ends_to_beat,
                                  Effort& effort) {
  // What is needed later is made at once, on the other core, as long as little was looked at: the
  // first streak is the arrow in most clips. After that most are none.
  constexpr double kLittle = 0.85;  // of the effort
  const auto when = effort.may_go_on(kLittle) ? std::launch::async : std::launch::deferred;
  effort.spend(effort.options.follow_ms);
  const std::vector<double>& t_s = scene.t_s;
  const double surge_s = surge.t_s;
  const double anchor_s = surge_s + 0.055;
  const cv::Size size = scene.luma.front().size();
  const Eigen::Vector2d principal((size.width - 1) / 2.0, (size.height - 1) / 2.0);
  const track::ShaftOptions shaft_options;
  const cv::Rect roi = track::region_of(sweep, size);
  std::vector<cv::Rect> in_flight(t_s.size());
  for (std::size_t k = frame_near(t_s, surge_s - 0.002); k < t_s.size(); ++k) {
    in_flight[k] = track::part_at(sweep, t_s[k], roi);
  }
  const track::Region region =
      track::cut_region(scene.luma, roi, 0, scene.luma.size(), in_flight, shaft_options);
  track::ShaftOptions near_options = shaft_options;
  near_options.edge_slip_px = 0.5;  // bow and archer, a metre away, shift against the far scenery
  std::vector<cv::Rect> at_the_bow(t_s.size());
  for (std::size_t k = frame_near(t_s, surge_s - 0.011);
       k < std::min(t_s.size(), frame_near(t_s, surge_s + 0.028) + 1); ++k) {
    at_the_bow[k] = roi;
  }
  Later later;
  later.plumb = std::async(when, [&] {
    return steady::find_plumb(scene.still, sweep.vanishing_px, options.focal_px, {});
  });
  later.before = std::async(when, [&] {
    return track::cut_region(scene.luma, roi, 0,
                             std::max<std::size_t>(3, frame_near(t_s, surge_s - 0.012)), at_the_bow,
                             near_options);
  });
  std::vector<track::ArrowSighting> coarse = coarse_sightings(region, sweep, t_s, shaft_options);
  std::erase_if(coarse, [&](const auto& s) { return s.t_s < surge_s; });
  if (coarse.size() < 4) {
    return std::nullopt;
  }
  flight::FitOptions coarse_options = scene.fit_options;
  coarse_options.coarse = true;
  const flight::FlightFit first = flight::fit_flight_from_several(
      coarse, start_from(sweep, scene.fit_options.priors, anchor_s, options.focal_px),
      flight::Spread::pitch, anchor_s, options.focal_px, principal, coarse_options);
  if (!first.converged) {
    return std::nullopt;
  }
  std::optional<Followed> found = refine(region, later, first, t_s, surge, size, options,
                                         scene.fit_options, shaft_options, effort);
  if (!found) {
    return std::nullopt;
  }
  found->surge_s = surge_s;
  // The arrow's shadow recedes like an arrow, but from the ground: a metre and a half further
  // from the camera than the flight.
  const double distance_m = camera_distance_m(found->fit);
  if (distance_m < options.least_camera_distance_m || distance_m > options.most_camera_distance_m) {
    return std::nullopt;
  }
  if (found->fit.ends > ends_to_beat) {
    debug_fit(options.debug_dir, surge_s, region, found->fit, found->sightings);
  }
  return found;
}

}  // namespace

bool beyond_doubt(const flight::FlightFit& fit) {
  return fit.frames >= 10 && fit.ends >= 16 && fit.end_scale < kMostEndScale &&
         fit.centre_scale < 2.5;
}

std::optional<Followed> follow(const Scene& scene, const track::Sweep& sweep, double surge_s,
                               const AnalysisOptions& options, int ends_to_beat, Effort& effort) {
  std::optional<Followed> found =
      follow_at(scene, sweep, Surge{surge_s}, options, ends_to_beat, effort);
  if (!found || !beyond_doubt(found->fit)) {
    return found;
  }
  const double between_s = found->stroke.exit_s - found->stroke.loose_s;
  const Surge own{found->stroke.loose_s + flight::StrokeOptions{}.surge_share * between_s,
                  options.own_surge_sigma_s};
  if (found->stroke.loose_s <= surge_s + kLatestLooseS &&
      own.t_s <= surge_s + options.early_surge_s) {
    return found;
  }
  // The flight fits, but says that the motion surges later, or even that the string was let go
  // after it moved. The surge is a witness, not a judge: it may have been of a hand, a head or the
  // bow, before the loose. So the flight is looked at once more with the surge where it has it, and
  // hardly anything believed of that. What comes out counts if the point was seen on the string,
  // which tells the time of the loose by itself; the interval has the doubt in it, by way of the
  // place of the rest. A loose that is moved on by about a whole power stroke is none that was
  // seen: what stands beyond a hidden point was taken for it, and the flight's scale followed (a
  // reading 2 deg off, 36 ms late).
  std::optional<Followed> again = follow_at(scene, sweep, own, options, ends_to_beat, effort);
  const bool stands = again && again->stroke.seen && beyond_doubt(again->fit) &&
                      again->stroke.loose_s <= surge_s + options.latest_own_loose_s;
  return stands ? again : found;
}

}  // namespace nocktrail::pipeline
