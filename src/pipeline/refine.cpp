#include "refine.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <utility>

#include "impact.hpp"
#include "nocktrail/flight/headline.hpp"
#include "sightings.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr std::array<Search, 3> kSearches{
    {{5.0, 0.3, 0.03, false}, {3.0, 0.25, 0.005, true}, {2.5, 0.2, 0.0, true}}};
constexpr std::size_t kRounds = 4;
constexpr std::size_t kDoubtfulRounds = 8;
constexpr std::ptrdiff_t kLastRounds = 4;  // those before may still be on their way
// A near, slow arrow and a far, fast one are two valleys: which is deeper shows only once the ends
// are those of the painted arrow, and once more where the rounds do not settle.
constexpr std::size_t kScaleRound = 2;
constexpr std::size_t kLateScaleRound = 5;

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
  Eigen::ArrayXd speed(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    right[i] = rounds[static_cast<std::size_t>(i)].right.value;
    high[i] = rounds[static_cast<std::size_t>(i)].high_rad;
    speed[i] = rounds[static_cast<std::size_t>(i)].speed_mps;
  }
  const auto spread = [](const Eigen::ArrayXd& v) {
    return std::sqrt((v - v.mean()).square().mean());
  };
  return {spread(right), spread(high.tail(last)), spread(speed.tail(last))};
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

// Whether the first round sees so little that it is no arrow: those that could be measured (77 of
// known truth) were seen for 54 ms and more in it, half of the limbs, strings and leaves for less
// than this.
bool hopeless_at_once(const std::vector<track::ArrowSighting>& sightings, std::size_t both,
                      double frame_s, const AnalysisOptions& options) {
  constexpr double kLeastSeenS = 0.042;
  return both < options.hardly_any_ends &&
         static_cast<double>(sightings.size()) * frame_s < kLeastSeenS;
}

// Of the mean of four flights, by what three say that each leave out a third of the frames. That
// frames differ is in the fit's own covariance (the jackknife has 2/3 of the sum of squares for it:
// Efron & Tibshirani, An Introduction to the Bootstrap, ch. 11); what comes on top is of looks that
// come to rest apart, independently, and a mean of three such has 1/6. Taken is 2/9: a little more,
// for a third of the frames is also all that they do not share.
OffsetScatter apart_of(const std::vector<Followed>& others) {
  const auto n = static_cast<Eigen::Index>(others.size());
  Eigen::ArrayX3d values(n, 3);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Followed& one = others[static_cast<std::size_t>(i)];
    values.row(i) << one.right.value, one.high_rad, one.speed_mps;
  }
  const Eigen::Array3d sigma =
      ((values.rowwise() - values.colwise().mean()).square().colwise().sum() *
       (static_cast<double>(n - 1) / static_cast<double>(n * n)))
          .sqrt()
          .transpose();
  return {sigma[0], sigma[1], sigma[2]};
}

// Of several bendings that nearly fit, the one of all frames stays.
constexpr std::array<int, 6> kBending{flight::kFlexRightCos, flight::kFlexRightSin,
                                      flight::kFlexDownCos,  flight::kFlexDownSin,
                                      flight::kFlexHz,       flight::kFlexDecay};

void take_headline(Followed& of) {
  const flight::Headline headline = flight::headline_at(
      of.fit, of.stroke.rest_forward_m, of.stroke.rest_sigma_m, flight::kReferenceM);
  of.right = headline.right_rad;
  of.high_rad = headline.high_rad.value;
  of.speed_mps = headline.speed_mps.value;
}

void take_mean(Followed& found, const std::vector<Followed>& others) {
  const flight::Parameters own = found.fit.parameters;
  const double share = 1.0 / static_cast<double>(others.size() + 1);
  flight::Parameters mean = share * own;
  double exit_s = share * found.stroke.exit_s;
  double loose_s = share * found.stroke.loose_s;
  double rest_m = share * found.stroke.rest_forward_m;
  for (const Followed& other : others) {
    mean += share * other.fit.parameters;
    exit_s += share * other.stroke.exit_s;
    loose_s += share * other.stroke.loose_s;
    rest_m += share * other.stroke.rest_forward_m;
  }
  for (const int index : kBending) {
    mean[index] = own[index];
  }
  found.fit.parameters = mean;
  found.stroke.exit_s = exit_s;
  found.stroke.loose_s = loose_s;
  found.stroke.rest_forward_m = rest_m;
}

}  // namespace

Refinement::Refinement(const Scene& scene, const track::Region& region, Later& later,
                       const Surge& surge, const AnalysisOptions& options,
                       const track::ShaftOptions& shaft_options, Effort& effort)
    : scene_(scene),
      region_(region),
      later_(later),
      surge_(surge),
      analysis_options_(options),
      shaft_options_(shaft_options),
      effort_(effort),
      size_(scene.luma.front().size()),
      frame_s_((scene.t_s.back() - scene.t_s.front()) / static_cast<double>(scene.t_s.size() - 1)),
      first_s_(surge.t_s + 0.014),
      given_(scene.fit_options.priors),
      options_(scene.fit_options) {}

std::optional<Followed> Refinement::from(flight::FlightFit coarse) {
  fit_ = std::move(coarse);
  round_ = 0;
  return rounds();
}

std::optional<Followed> Refinement::without_third(const Followed& found, std::size_t third) {
  left_out_ = third;
  fit_ = found.fit;
  first_s_ = found.stroke.exit_s + 0.0003;
  known_ = {};
  both_.clear();
  late_.clear();
  round_ = 1;
  return rounds();
}

void Refinement::weigh_thirds(Followed& found) const {
  std::array<std::future<std::optional<Followed>>, kThirds> looks;
  for (std::size_t third = 0; third < kThirds; ++third) {
    looks[third] = std::async(std::launch::async, [this, &found, third] {
      return Refinement(*this).without_third(found, third);
    });
  }
  std::vector<Followed> others;
  for (auto& look : looks) {
    if (std::optional<Followed> other = look.get()) {
      others.push_back(std::move(*other));
    }
  }
  found.thirds_lost = static_cast<int>(kThirds - others.size());
  if (found.thirds_lost == 0) {
    found.apart = apart_of(others);
    take_mean(found, others);
    take_headline(found);
  }
}

std::optional<Followed> Refinement::rounds() {
  for (;; ++round_) {
    candidate_ = {};
    if (!sight() || !fit_flight()) {
      return std::nullopt;
    }
    fit_stroke();
    candidate_.fit = fit_;
    take_headline(candidate_);
    if (round_ >= 2) {
      late_.push_back(std::move(candidate_));
    }
    if (std::optional<Followed> found = settled()) {
      return found;
    }
  }
}

bool Refinement::sight() {
  Search search = kSearches[std::min(round_, kSearches.size() - 1)];
  search.left_out = left_out_;
  candidate_.sightings =
      fine_sightings(region_, fit_, first_s_, scene_.t_s, size_, search, shaft_options_, known_);
  if (!left_out_) {
    effort_.spend(effort_.options.round_ms);
  }
  both_.push_back(static_cast<std::size_t>(
      std::count_if(candidate_.sightings.begin(), candidate_.sightings.end(),
                    [](const auto& s) { return s.nock.has_value() && s.tip.has_value(); })));
  // A streak that is looked at without a third of its frames has shown that it is an arrow's.
  if (candidate_.sightings.size() < 4 || (!left_out_ && hopeless())) {
    return false;
  }
  if (round_ == 0) {
    if (hopeless_at_once(candidate_.sightings, both_.back(), frame_s_, analysis_options_)) {
      return false;
    }
    take_later();
  }
  return true;
}

void Refinement::take_later() {
  const steady::Plumb roll = later_.plumb.get();
  given_.roll_rad = {roll.roll_rad, roll.sigma_rad};
  before_ = later_.before.get();
}

// An arrow shows both ends in most of its frames from the first rounds on, limbs, strings and
// leaves never do.
bool Refinement::hopeless() const {
  const auto last_are_below = [&](std::size_t rounds, std::size_t least) {
    return both_.size() >= rounds && std::all_of(both_.end() - static_cast<std::ptrdiff_t>(rounds),
                                                 both_.end(), [&](auto n) { return n < least; });
  };
  return last_are_below(2, analysis_options_.hardly_any_ends) ||
         last_are_below(
             3, effort_.may_go_on() ? analysis_options_.few_ends : analysis_options_.few_ends_late);
}

std::vector<track::ArrowSighting> Refinement::with_far_and_doubt(
    std::vector<track::ArrowSighting> seen) const {
  if (round_ >= 1) {
    const std::vector<track::ArrowSighting> far = far_sightings(region_, fit_, scene_.t_s, size_);
    std::copy_if(far.begin(), far.end(), std::back_inserter(seen), [&](const auto& sighting) {
      return !is_left_out(static_cast<std::size_t>(sighting.frame), left_out_);
    });
  }
  for (track::ArrowSighting& sighting : seen) {
    sighting.camera_sigma_px =
        scene_.motion[static_cast<std::size_t>(sighting.frame)].centre_sigma_px;
  }
  return seen;
}

bool Refinement::fit_flight() {
  const double focal_px = analysis_options_.focal_px;
  options_.priors = known_.arrow ? with_painted_ends(given_, *known_.arrow) : given_;
  const std::vector<track::ArrowSighting> all = with_far_and_doubt(candidate_.sightings);
  const auto fit_from = [&](flight::Spread spread) {
    return flight::fit_flight_from_several(all, fit_.parameters, spread, fit_.anchor_s, focal_px,
                                           fit_.principal_px, options_);
  };
  if (round_ == 0) {
    fit_ = fit_from(flight::Spread::flex);
  } else if (round_ == kScaleRound || round_ == kLateScaleRound) {
    fit_ = fit_from(flight::Spread::scale);
  } else {
    fit_ = flight::fit_flight(all, fit_.parameters, fit_.anchor_s, focal_px, fit_.principal_px,
                              options_);
  }
  // What only colour shows is of use where its ends are an arrow's, and given up soon elsewhere.
  constexpr double kFarOff = 2.0;
  return fit_.converged && !(analysis_options_.colour && round_ >= kScaleRound &&
                             fit_.end_scale > kFarOff * kMostEndScale);
}

void Refinement::fit_stroke() {
  const std::vector<flight::TipPlace> places = tip_places(
      before_, fit_, scene_.t_s, surge_.t_s - 0.010, surge_.t_s + 0.026, size_, shaft_options_);
  flight::StrokeOptions stroke_options;
  stroke_options.surge_sigma_s = surge_.sigma_s;
  stroke_options.camera_behind_m = given_.camera_behind_m;
  candidate_.stroke = flight::fit_stroke(fit_, places, surge_.t_s, stroke_options);
  first_s_ = candidate_.stroke.exit_s + 0.0003;
  options_.exit_s = candidate_.stroke.witnessed_exit_s;
  options_.exit_sigma_s = candidate_.stroke.witnessed_exit_sigma_s;
  if (analysis_options_.target_distance_m) {
    hear_impact();
  }
}

void Refinement::hear_impact() {
  const double metres = *analysis_options_.target_distance_m;
  if (!in_the_air_s_ && round_ >= 1) {
    in_the_air_s_ = heard_in_the_air_s(fit_, candidate_.stroke, metres, analysis_options_.sounds);
  }
  if (in_the_air_s_) {
    options_.flown = flown_to_butt(fit_, candidate_.stroke, metres, *in_the_air_s_);
  }
}

std::optional<Followed> Refinement::settled() {
  if (round_ + 1 < kRounds) {
    return std::nullopt;
  }
  if (left_out_) {
    return std::move(late_.back());
  }
  if (at_rest(late_[late_.size() - 2], late_.back())) {
    if (round_ + 1 > kRounds) {
      late_.back().scatter = wandering(late_, 2);
    }
    return std::move(late_.back());
  }
  if (round_ + 1 < kDoubtfulRounds) {
    return std::nullopt;
  }
  const OffsetScatter scatter = wandering(late_, kLastRounds);
  // The middle one, sideways, of the last.
  const auto middle = late_.end() - kLastRounds / 2;
  std::nth_element(
      late_.end() - kLastRounds, middle, late_.end(),
      [](const Followed& a, const Followed& b) { return a.right.value < b.right.value; });
  middle->scatter = scatter;
  return std::move(*middle);
}

}  // namespace nocktrail::pipeline
