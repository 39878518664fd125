#include "nocktrail/pipeline/read_marked.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "clip_setup.hpp"
#include "flight_start.hpp"
#include "marked_flight.hpp"
#include "marked_line.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "nocktrail/steady/steady.hpp"
#include "nocktrail/track/sweep.hpp"
#include "see_limb.hpp"
#include "shot_analysis.hpp"
#include "shot_from_analysis.hpp"
#include "stretch.hpp"
#include "where_filmed.hpp"

namespace nocktrail {
namespace {

using pipeline::ShotAnalysis;

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

void check_frame(const std::optional<Eigen::Vector2d>& at_px, long index,
                 const media::ClipInfo& info) {
  if (!at_px) {
    return;
  }
  const bool inside = at_px->x() >= -0.5 && at_px->x() <= info.width - 0.5 && at_px->y() >= -0.5 &&
                      at_px->y() <= info.height - 0.5;
  if (!inside) {  // no number is not inside either
    throw BadInput(
        fmt::format("marks: a place in frame {} lies outside the picture of {} by {} px; mark it "
                    "in the frame as it is shown upright",
                    index, info.width, info.height));
  }
}

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
  MarkedClip(media::Clip& clip, const Marks& marks, const pipeline::AnalysisOptions& options,
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
    std::optional<pipeline::SeenExit> exit;
    if (marks_.exit_index) {
      const double exit_s = time_of(*marks_.exit_index);
      if (exit_s > first_s + kBefore_s || exit_s < first_s - kLongestFlight_s) {
        return refused(marks_, info_,
                       fmt::format("the frame in which the nock leaves the string ({}) is not just "
                                   "before the first mark: mark it again",
                                   *marks_.exit_index));
      }
      const double half_frame = 0.5 * frame_s(*marks_.exit_index);
      exit = pipeline::SeenExit{exit_s, half_frame};
    }
    return analysed(first_s, last_s, exit);
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

  Shot analysed(double first_s, double last_s, const std::optional<pipeline::SeenExit>& exit) {
    tell("taking the marked frames", 0.1);
    std::vector<long> wanted;
    for (const FrameMark& mark : marks_.frames) {
      wanted.push_back(mark.index);
    }
    double from_s = std::min(first_s, exit ? exit->t_s : first_s) - kBefore_s;
    if (marks_.limb) {
      const double limb_s = time_of(marks_.limb->index);
      if (limb_s < first_s - kLongestFlight_s || limb_s > last_s + kAfter_s) {
        return refused(marks_, info_,
                       fmt::format("the limb is marked in a frame ({}) far from the flight: mark "
                                   "it where the arrow leaves the bow",
                                   marks_.limb->index));
      }
      from_s = std::min(from_s, limb_s);
      wanted.push_back(marks_.limb->index);
      std::sort(wanted.begin(), wanted.end());
    }
    pipeline::Stretch stretch =
        pipeline::load_with(clip_, from_s, last_s + kAfter_s, wanted, options_);
    if (stretch.luma.size() < pipeline::kLeastStretchFrames) {
      return refused(marks_, info_,
                     "too few frames about the marks can be read: film at a higher rate, or give "
                     "the file as the phone wrote it");
    }
    ShotAnalysis analysis;
    analysis.by = ReadBy::hand;
    analysis.frame_index = stretch.index;
    analysis.frame_t_s = stretch.t_s;
    analysis.surge_s = first_s;
    tell("taking the camera's motion out", 0.4);
    steady::SteadyOptions steady_options;
    steady_options.focal_px = options_.focal_px;
    const auto reference = std::lower_bound(stretch.index.begin(), stretch.index.end(),
                                            marks_.frames[marks_.frames.size() / 2].index) -
                           stretch.index.begin();
    analysis.steadied = steady::estimate_motion(
        stretch.luma, std::min(static_cast<std::size_t>(reference), stretch.luma.size() - 1),
        steady_options);
    take_marks(analysis);
    const auto both = static_cast<std::size_t>(
        std::count_if(analysis.sightings.begin(), analysis.sightings.end(),
                      [](const auto& s) { return s.nock.has_value() && s.tip.has_value(); }));
    if (both < std::min(kFramesForReading, frames_with_both(marks_))) {
      return refused(marks_, info_,
                     fmt::format("the camera's motion is known in only {} of the marked frames: "
                                 "mark others as well",
                                 both));
    }
    cv::Mat steadied;
    for (std::size_t k = 0; k < stretch.luma.size(); ++k) {
      steady::to_reference(stretch.luma[k], analysis.steadied.motion[k], steadied);
      cv::swap(stretch.luma[k], steadied);
    }
    tell("fitting the flight", 0.7);
    const cv::Size size = stretch.luma.front().size();
    const Eigen::Vector2d principal_px((size.width - 1) / 2.0, (size.height - 1) / 2.0);
    const std::vector<double>& t_s = stretch.t_s;
    const double mean_frame_s = (t_s.back() - t_s.front()) / static_cast<double>(t_s.size() - 1);
    flight::FitOptions given = pipeline::fit_options(info_, options_, mean_frame_s);
    analysis.sweep = pipeline::sweep_of_marks(analysis.sightings, given.priors.length_m.mean,
                                              options_.focal_px, principal_px);
    cv::Mat still;
    track::learn_background(stretch.luma, {}).nine_mean.convertTo(still, CV_8U, 1.0 / 9.0);
    const steady::Plumb plumb =
        steady::find_plumb(still, analysis.sweep.vanishing_px, options_.focal_px, {});
    given.priors.roll_rad = {plumb.roll_rad, plumb.sigma_rad};
    std::optional<pipeline::MarkedFlight> flight = pipeline::fit_marked(
        analysis.sightings, analysis.sweep, exit, given, options_.focal_px, principal_px);
    if (!flight) {
      return refused(marks_, info_,
                     "no flight of an arrow goes through the marks: look at them again, nock and "
                     "point may be exchanged");
    }
    // By the marks alone: what pixels say of the line is no more tries of a person's hand.
    analysis.freedom = pipeline::freedom_of_marks(flight->fit);
    tell("finding the shaft between the marks", 0.8);
    if (auto lined = with_line(*flight, analysis, stretch, exit, given)) {
      flight = std::move(lined);
    }
    analysis.outcome = pipeline::Outcome::measured;
    analysis.fit = std::move(flight->fit);
    analysis.stroke = flight->stroke;
    if (marks_.limb) {
      analysis.limb = marked_limb(analysis);
      if (!analysis.limb) {
        return refused(
            marks_, info_,
            fmt::format("the places marked in frame {} do not lie along the upper limb of "
                        "this bow, or the camera's motion is not known there: mark the "
                        "limb's middle near its tip and near the hand, where the arrow "
                        "has just left, or leave it out",
                        marks_.limb->index));
      }
    } else {
      analysis.limb = pipeline::see_limb(stretch.luma, analysis, options_.debug_dir);
    }
    analysis.filmed_from = pipeline::where_filmed(stretch.luma, analysis);
    Shot shot = pipeline::shot_from(analysis, info_);
    if (both < kFramesForReading) {
      Shot drawn = refused(marks_, info_, missing_marks(marks_));
      drawn.fitted = std::move(shot.fitted);
      drawn.reference_index = shot.reference_index;
      return drawn;
    }
    return shot;
  }

  // The flight with the shaft's line as the pixels show it. Nothing where they show none, or one
  // that is not what was marked.
  std::optional<pipeline::MarkedFlight> with_line(const pipeline::MarkedFlight& marked,
                                                  const ShotAnalysis& analysis,
                                                  const pipeline::Stretch& stretch,
                                                  const std::optional<pipeline::SeenExit>& exit,
                                                  const flight::FitOptions& given) const {
    const track::Region region = pipeline::region_of_marks(
        stretch.luma, stretch.t_s, analysis.sweep, analysis.sightings.front().t_s);
    const double alone = pipeline::marks_beside_line(analysis.sightings, marked.fit);
    std::optional<pipeline::MarkedFlight> flight = marked;
    for (const double across_px : kLookAcross_px) {
      const std::vector<track::ArrowSighting> all =
          pipeline::with_line(analysis.sightings, region, flight->fit, stretch.t_s,
                              stretch.luma.front().size(), across_px);
      if (pipeline::marked_frames_with_line(analysis.sightings, all) < kLeastLinedFrames) {
        return std::nullopt;
      }
      flight = pipeline::fit_anew(all, flight->fit, exit, given, options_.focal_px);
      if (!flight || flight->fit.centre_scale > kMostCentreScale ||
          pipeline::marks_beside_line(analysis.sightings, flight->fit) > alone + kMostAgainst) {
        return std::nullopt;
      }
    }
    return flight;
  }

  // Nothing where the camera's motion in that frame is not known, or the marks make no limb.
  std::optional<bow::SeenLimb> marked_limb(const ShotAnalysis& analysis) const {
    const auto place = std::lower_bound(analysis.frame_index.begin(), analysis.frame_index.end(),
                                        marks_.limb->index);
    if (place == analysis.frame_index.end() || *place != marks_.limb->index) {
      return std::nullopt;
    }
    const steady::FrameMotion& motion =
        analysis.steadied.motion[static_cast<std::size_t>(place - analysis.frame_index.begin())];
    if (motion.lost) {
      return std::nullopt;
    }
    std::vector<Eigen::Vector2d> points_px;
    points_px.reserve(marks_.limb->points_px.size());
    for (const Eigen::Vector2d& at_px : marks_.limb->points_px) {
      points_px.push_back(optics::apply_homography(motion.reference_from_frame, at_px));
    }
    return bow::limb_of_marks(points_px, bow::place_of(analysis.fit, *analysis.stroke));
  }

  // Into the pixels of the reference frame, where its camera is known to have looked.
  void take_marks(ShotAnalysis& analysis) const {
    for (const FrameMark& mark : marks_.frames) {
      const auto place =
          std::lower_bound(analysis.frame_index.begin(), analysis.frame_index.end(), mark.index);
      if (place == analysis.frame_index.end() || *place != mark.index) {
        continue;  // the file broke off before it
      }
      const auto k = static_cast<std::size_t>(place - analysis.frame_index.begin());
      const steady::FrameMotion& motion = analysis.steadied.motion[k];
      if (motion.lost || (!mark.nock_px && !mark.tip_px)) {
        continue;
      }
      const auto steadied = [&](const std::optional<Eigen::Vector2d>& at_px) {
        return at_px ? std::optional<Eigen::Vector2d>(
                           optics::apply_homography(motion.reference_from_frame, *at_px))
                     : std::nullopt;
      };
      analysis.sightings.push_back(
          pipeline::sighting_of_marks(static_cast<int>(k), analysis.frame_t_s[k],
                                      steadied(mark.nock_px), steadied(mark.tip_px)));
    }
  }

  media::Clip& clip_;
  const media::ClipInfo& info_;
  const Marks& marks_;
  const pipeline::AnalysisOptions& options_;
  const Progress& progress_;
};

}  // namespace

void check_marks(const Marks& marks, const media::ClipInfo& info, const std::string& sha256) {
  if (!marks.clip_sha256.empty() && marks.clip_sha256 != sha256) {
    throw BadInput(
        "marks: made in another clip (its sha256 is not this one's); give the clip that was "
        "marked, or mark this one");
  }
  if (marks.frames.size() > kMostMarkedFrames) {
    throw BadInput(fmt::format("marks: {} frames are marked; keep the marks of at most {}",
                               marks.frames.size(), kMostMarkedFrames));
  }
  const auto frames = static_cast<long>(info.frame_t_s.size());
  const auto check_index = [&](long index) {
    if (index < 0 || index >= frames) {
      throw BadInput(
          fmt::format("marks: there is no frame {}, the clip's are 0 to {}; mark this clip's own "
                      "frames",
                      index, frames - 1));
    }
  };
  for (const FrameMark& mark : marks.frames) {
    check_index(mark.index);
    check_frame(mark.nock_px, mark.index, info);
    check_frame(mark.tip_px, mark.index, info);
  }
  if (marks.exit_index) {
    check_index(*marks.exit_index);
  }
  if (marks.limb) {
    check_index(marks.limb->index);
    for (const Eigen::Vector2d& at_px : marks.limb->points_px) {
      check_frame(at_px, marks.limb->index, info);
    }
  }
}

std::string missing_marks(const Marks& marks) {
  const std::size_t both = frames_with_both(marks);
  return both >= kFramesForReading
             ? std::string()
             : fmt::format(
                   "nock and point are both marked in {} frame{}: mark them in {} more, over all "
                   "of the flight",
                   both, both == 1 ? "" : "s", kFramesForReading - both);
}

Reading read_marked(const std::filesystem::path& path, const Marks& marks,
                    const ReadClipOptions& options, const Progress& progress) {
  pipeline::check_options(options);
  Reading reading;
  reading.clip.path = path.string();
  try {
    media::Clip clip = pipeline::open_at(path, options.capture_fps);
    reading.clip = pipeline::facts_of(clip);
    reading.clip.sha256 = media::sha256_of_file(path);
    check_marks(marks, clip.info(), reading.clip.sha256);
    const pipeline::Focal focal = pipeline::choose_focal(clip.info(), options);
    reading.camera = {focal.px, focal.source};
    const pipeline::AnalysisOptions analysis = pipeline::analysis_options(focal, options);
    const std::size_t both = frames_with_both(marks);
    Shot shot = both < kFramesForFlight ? refused(marks, clip.info(), missing_marks(marks))
                                        : MarkedClip(clip, marks, analysis, progress).shot();
    rules::judge_shot(shot, pipeline::judge_options(options));
    reading.status =
        shot.status == ShotStatus::measured ? ClipStatus::measured : ClipStatus::refused;
    reading.reason = shot.reason;
    reading.shots.push_back(std::move(shot));
  } catch (const UnreadableClip& error) {
    reading.status = ClipStatus::error;
    reading.reason = error.what();
    reading.shots.clear();
  }
  return reading;
}

}  // namespace nocktrail
