#include "follow.hpp"

#include <algorithm>
#include <cmath>
#include <future>

#include "debug_pictures.hpp"
#include "flight_start.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "refine.hpp"
#include "sightings.hpp"

namespace nocktrail::pipeline {
namespace {

// How far the camera is from the line of flight, metres.
double camera_distance_m(const flight::FlightFit& fit) {
  const flight::ArrowState<double> state = flight::state_of(fit, fit.anchor_s);
  return state.centre_m.cross(state.forward).norm();
}

// Index of the first frame at or after a time, the last one where there is none.
std::size_t frame_near(const std::vector<double>& t_s, double t) {
  return static_cast<std::size_t>(
      std::clamp<std::ptrdiff_t>(std::lower_bound(t_s.begin(), t_s.end(), t) - t_s.begin(), 0,
                                 static_cast<std::ptrdiff_t>(t_s.size()) - 1));
}

// What is short of this is refused, whatever else it says.
bool may_be_measured(const flight::FlightFit& fit) {
  constexpr int kLeastEnds = 8;
  return fit.ends >= kLeastEnds && fit.end_scale < kMostEndScale;
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
    in_flight[k] = scene.motion[k].lost ? cv::Rect() : track::part_at(sweep, t_s[k], roi);
  }
  const track::Region region =
      track::cut_region(scene.luma, roi, 0, scene.luma.size(), in_flight, shaft_options);
  track::ShaftOptions near_options = shaft_options;
  near_options.edge_slip_px = 0.5;  // bow and archer, a metre away, shift against the far scenery
  std::vector<cv::Rect> at_the_bow(t_s.size());
  for (std::size_t k = frame_near(t_s, surge_s - 0.011);
       k < std::min(t_s.size(), frame_near(t_s, surge_s + 0.028) + 1); ++k) {
    at_the_bow[k] = scene.motion[k].lost ? cv::Rect() : roi;
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
  Refinement refinement(scene, region, later, surge, options, shaft_options, effort);
  std::optional<Followed> found = refinement.from(first);
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
    if (may_be_measured(found->fit)) {
      refinement.weigh_thirds(*found);
    }
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
