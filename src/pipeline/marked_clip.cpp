#include "marked_clip.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "clip_setup.hpp"
#include "flight_start.hpp"
#include "marked_flight.hpp"
#include "marked_line.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "nocktrail/steady/steady.hpp"
#include "nocktrail/track/sweep.hpp"
#include "see_limb.hpp"
#include "shot_analysis.hpp"
#include "shot_from_analysis.hpp"
#include "stretch.hpp"
#include "where_filmed.hpp"

namespace nocktrail::pipeline {
namespace {

// Longer no arrow stays in a picture that it flies away in: 20 m and more.
constexpr double kLongestFlight_s = 0.45;
// How far from where the marks have the shaft its line is looked for, in turn.
constexpr double kLookAcross_px[] = {4.0, 2.5};
constexpr int kLeastLinedFrames = 4;
// Slices that scatter by more than twice what is believed of them are not all of one shaft.
constexpr double kMostCentreScale = 2.0;
// In squared sigmas: the line takes up to eight numbers from the marks (a flight's direction and
// place, offset and its change, in two planes), which they follow by themselves otherwise; more
// than three sigmas over that, and it is something else's.
constexpr double kMostAgainst = 20.0;
// Decoded beyond the marks: the bow at the exit, and a background.
constexpr double kBefore_s = 0.030;
constexpr double kAfter_s = 0.015;

Shot refused(const Marks& marks, const media::ClipInfo& info, std::string reason) {
  Shot shot;
  shot.by = ReadBy::hand;
  shot.reason = std::move(reason);
  for (const FrameMark& mark : marks.frames) {
    shot.frames.push_back({static_cast<int>(mark.index),
                           info.frame_t_s[static_cast<std::size_t>(mark.index)], mark.nock_px,
                           mark.tip_px, false});
  }
  if (!marks.frames.empty()) {
    shot.reference_index = static_cast<int>(marks.frames[marks.frames.size() / 2].index);
  }
  return shot;
}

class MarkedClip {
 public:
  MarkedClip(media::Clip& clip, const Marks& marks, const AnalysisOptions& options,
             const Progress& progress)
      : clip_(clip), info_(clip.info()), marks_(marks), options_(options), progress_(progress) {}

  // From kFramesForFlight frames on.
  Shot shot() {
    const double first_s = time_of(marks_.frames.front().index);
    const double last_s = time_of(marks_.frames.back().index);
    if (last_s - first_s > kLongestFlight_s) {
      return refused(marks_, info_,
                     fmt::format("the marks are {:.1f} s apart and an arrow is in the picture for "
                                 "a part of a second: keep the marks of one shot, and {}",
                                 last_s - first_s, rules::kSayRate));
    }
    if (marks_.exit_index) {
      const double exit_s = time_of(*marks_.exit_index);
      if (exit_s > first_s + kBefore_s || exit_s < first_s - kLongestFlight_s) {
        return refused(marks_, info_,
                       fmt::format("the frame in which the nock leaves the string ({}) is not just "
                                   "before the first mark: mark it again",
                                   *marks_.exit_index));
      }
      const double half_frame = 0.5 * frame_s(*marks_.exit_index);
      exit_ = SeenExit{exit_s, half_frame};
    }
    for (const auto step : {&MarkedClip::take_frames, &MarkedClip::take_motion_out,
                            &MarkedClip::fit_flight, &MarkedClip::find_limb}) {
      if (Refusal refusal = (this->*step)()) {
        return refused(marks_, info_, std::move(*refusal));
      }
    }
    return shot_of_marks();
  }

 private:
  void tell(const char* what, double done) const {
    if (progress_ && !progress_(what, done)) {
      throw Interrupted{};
    }
  }

  double time_of(long index) const { return info_.frame_t_s[static_cast<std::size_t>(index)]; }

  double frame_s(long index) const {
    const auto last = static_cast<long>(info_.frame_t_s.size()) - 1;
    return last < 1 ? 0.0 : time_of(std::min(index + 1, last)) - time_of(std::min(index, last - 1));
  }

  using Refusal = std::optional<std::string>;

  // The marked frames, those between them, and a little before and after. The limb may be marked
  // in one further off.
  Refusal take_frames() {
    tell("taking the marked frames", 0.1);
    const double first_s = time_of(marks_.frames.front().index);
    const double last_s = time_of(marks_.frames.back().index);
    std::vector<long> wanted;
    for (const FrameMark& mark : marks_.frames) {
      wanted.push_back(mark.index);
    }
    double from_s = std::min(first_s, exit_ ? exit_->t_s : first_s) - kBefore_s;
    if (marks_.limb) {
      const double limb_s = time_of(marks_.limb->index);
      if (limb_s < first_s - kLongestFlight_s || limb_s > last_s + kAfter_s) {
        return fmt::format(
            "the limb is marked in a frame ({}) far from the flight: mark it where "
            "the arrow leaves the bow",
            marks_.limb->index);
      }
      from_s = std::min(from_s, limb_s);
      wanted.push_back(marks_.limb->index);
      std::sort(wanted.begin(), wanted.end());
    }
    stretch_ = load_with(clip_, from_s, last_s + kAfter_s, wanted, options_);
    if (stretch_.luma.size() < kLeastStretchFrames) {
      return "too few frames about the marks can be read: film at a higher rate, or give the file "
             "as the phone wrote it";
    }
    analysis_.by = ReadBy::hand;
    analysis_.frame_index = stretch_.index;
    analysis_.frame_t_s = stretch_.t_s;
    analysis_.surge_s = first_s;
    return std::nullopt;
  }

  // Marks and frames into the pixels of the reference frame.
  Refusal take_motion_out() {
    tell("taking the camera's motion out", 0.4);
    steady::SteadyOptions steady_options;
    steady_options.focal_px = options_.focal_px;
    const auto reference = std::lower_bound(stretch_.index.begin(), stretch_.index.end(),
                                            marks_.frames[marks_.frames.size() / 2].index) -
                           stretch_.index.begin();
    analysis_.steadied = steady::estimate_motion(
        stretch_.luma, std::min(static_cast<std::size_t>(reference), stretch_.luma.size() - 1),
        steady_options);
    take_marks();
    both_ = static_cast<std::size_t>(
        std::count_if(analysis_.sightings.begin(), analysis_.sightings.end(),
                      [](const auto& s) { return s.nock.has_value() && s.tip.has_value(); }));
    if (both_ < std::min(kFramesForReading, frames_with_both(marks_))) {
      return fmt::format(
          "the camera's motion is known in only {} of the marked frames: mark others as well",
          both_);
    }
    cv::Mat steadied;
    for (std::size_t k = 0; k < stretch_.luma.size(); ++k) {
      steady::to_reference(stretch_.luma[k], analysis_.steadied.motion[k], steadied);
      cv::swap(stretch_.luma[k], steadied);
    }
    return std::nullopt;
  }

  Refusal fit_flight() {
    tell("fitting the flight", 0.7);
    const cv::Size size = stretch_.luma.front().size();
    const Eigen::Vector2d principal_px((size.width - 1) / 2.0, (size.height - 1) / 2.0);
    const std::vector<double>& t_s = stretch_.t_s;
    const double mean_frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
    flight::FitOptions given = fit_options(info_, options_, mean_frame_s);
    analysis_.sweep = sweep_of_marks(analysis_.sightings, given.priors.length_m.mean,
                                     options_.focal_px, principal_px);
    cv::Mat still;
    track::learn_background(stretch_.luma, {}).nine_mean.convertTo(still, CV_8U, 1.0 / 9.0);
    const steady::Plumb plumb =
        steady::find_plumb(still, analysis_.sweep.vanishing_px, options_.focal_px, {});
    given.priors.roll_rad = {plumb.roll_rad, plumb.sigma_rad};
    std::optional<MarkedFlight> flight = fit_marked(analysis_.sightings, analysis_.sweep, exit_,
                                                    given, options_.focal_px, principal_px);
    if (!flight) {
      return "no flight of an arrow goes through the marks: look at them again, nock and point may "
             "be exchanged";
    }
    // By the marks alone: what pixels say of the line is no more tries of a person's hand.
    analysis_.freedom = freedom_of_marks(flight->fit);
    tell("finding the shaft between the marks", 0.8);
    if (auto lined = flight_with_line(*flight, given)) {
      flight = std::move(lined);
    }
    analysis_.outcome = Outcome::measured;
    analysis_.fit = std::move(flight->fit);
    analysis_.stroke = flight->stroke;
    return std::nullopt;
  }

  Refusal find_limb() {
    if (!marks_.limb) {
      analysis_.limb = see_limb(stretch_.luma, analysis_, options_.debug_dir);
      return std::nullopt;
    }
    analysis_.limb = marked_limb();
    if (!analysis_.limb) {
      return fmt::format(
          "the places marked in frame {} do not lie along the upper limb of this "
          "bow, or the camera's motion is not known there: mark the limb's middle "
          "near its tip and near the hand, where the arrow has just left, or leave "
          "it out",
          marks_.limb->index);
    }
    return std::nullopt;
  }

  Shot shot_of_marks() {
    analysis_.filmed_from = where_filmed(stretch_.luma, analysis_);
    Shot shot = shot_from(analysis_, info_);
    if (both_ < kFramesForReading) {
      Shot drawn = refused(marks_, info_, missing_marks(marks_));
      drawn.fitted = std::move(shot.fitted);
      drawn.reference_index = shot.reference_index;
      return drawn;
    }
    return shot;
  }

  // The flight with the shaft's line as the pixels show it. Nothing where they show none, or one
  // that is not what was marked.
  std::optional<MarkedFlight> flight_with_line(const MarkedFlight& marked,
                                               const flight::FitOptions& given) const {
    const track::Region region = region_of_marks(stretch_.luma, stretch_.t_s, analysis_.sweep,
                                                 analysis_.sightings.front().t_s);
    const double alone = marks_beside_line(analysis_.sightings, marked.fit);
    std::optional<MarkedFlight> flight = marked;
    for (const double across_px : kLookAcross_px) {
      std::vector<track::ArrowSighting> all =
          with_line(analysis_.sightings, region, flight->fit, stretch_.t_s,
                    stretch_.luma.front().size(), across_px);
      const auto motion_of = [&](const track::ArrowSighting& seen) -> const steady::FrameMotion& {
        return analysis_.steadied.motion[static_cast<std::size_t>(seen.frame)];
      };
      std::erase_if(all, [&](const auto& seen) { return motion_of(seen).lost; });
      for (track::ArrowSighting& seen : all) {
        seen.camera_sigma_px = motion_of(seen).centre_sigma_px;
      }
      if (marked_frames_with_line(analysis_.sightings, all) < kLeastLinedFrames) {
        return std::nullopt;
      }
      flight = fit_anew(all, flight->fit, exit_, given, options_.focal_px);
      if (!flight || flight->fit.centre_scale > kMostCentreScale ||
          marks_beside_line(analysis_.sightings, flight->fit) > alone + kMostAgainst) {
        return std::nullopt;
      }
    }
    return flight;
  }

  // Nothing where the camera's motion in that frame is not known, or the marks make no limb.
  std::optional<bow::SeenLimb> marked_limb() const {
    const auto place = std::lower_bound(analysis_.frame_index.begin(), analysis_.frame_index.end(),
                                        marks_.limb->index);
    if (place == analysis_.frame_index.end() || *place != marks_.limb->index) {
      return std::nullopt;
    }
    const steady::FrameMotion& motion =
        analysis_.steadied.motion[static_cast<std::size_t>(place - analysis_.frame_index.begin())];
    if (motion.lost) {
      return std::nullopt;
    }
    std::vector<Eigen::Vector2d> points_px;
    points_px.reserve(marks_.limb->points_px.size());
    for (const Eigen::Vector2d& at_px : marks_.limb->points_px) {
      points_px.push_back(optics::apply_homography(motion.reference_from_frame, at_px));
    }
    return bow::limb_of_marks(points_px, bow::place_of(analysis_.fit, *analysis_.stroke));
  }

  // Into the pixels of the reference frame, where its camera is known to have looked.
  void take_marks() {
    for (const FrameMark& mark : marks_.frames) {
      const auto place =
          std::lower_bound(analysis_.frame_index.begin(), analysis_.frame_index.end(), mark.index);
      if (place == analysis_.frame_index.end() || *place != mark.index) {
        continue;  // the file broke off before it
      }
      const auto k = static_cast<std::size_t>(place - analysis_.frame_index.begin());
      const steady::FrameMotion& motion = analysis_.steadied.motion[k];
      if (motion.lost || (!mark.nock_px && !mark.tip_px)) {
        continue;
      }
      const auto steadied = [&](const std::optional<Eigen::Vector2d>& at_px) {
        return at_px ? std::optional<Eigen::Vector2d>(
                           optics::apply_homography(motion.reference_from_frame, *at_px))
                     : std::nullopt;
      };
      track::ArrowSighting sighting =
          sighting_of_marks(static_cast<int>(k), analysis_.frame_t_s[k], steadied(mark.nock_px),
                            steadied(mark.tip_px));
      sighting.camera_sigma_px = motion.centre_sigma_px;
      analysis_.sightings.push_back(std::move(sighting));
    }
  }

  media::Clip& clip_;
  const media::ClipInfo& info_;
  const Marks& marks_;
  const AnalysisOptions& options_;
  const Progress& progress_;

  std::optional<SeenExit> exit_;  // as marked
  Stretch stretch_;
  ShotAnalysis analysis_;
  std::size_t both_ = 0;  // frames with both ends marked, of which the camera's motion is known
};

}  // namespace

Shot shot_by_marks(media::Clip& clip, const Marks& marks, const AnalysisOptions& options,
                   const Progress& progress) {
  if (frames_with_both(marks) < kFramesForFlight) {
    return refused(marks, clip.info(), missing_marks(marks));
  }
  return MarkedClip(clip, marks, options, progress).shot();
}

}  // namespace nocktrail::pipeline
