#include "shot_analysis.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <opencv2/imgproc.hpp>

#include "debug_pictures.hpp"
#include "flight_start.hpp"
#include "nocktrail/track/crossing.hpp"
#include "nocktrail/units/units.hpp"
#include "search_behind.hpp"
#include "see_limb.hpp"
#include "seen_in_colour.hpp"
#include "stretch.hpp"
#include "where_filmed.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr double kSurgeSigma_s = flight::StrokeOptions{}.surge_sigma_s;
// The string is heard as the nock leaves it, half a stroke after the surge, from 3 m away.
constexpr double kSurgeToKnock_s = 0.016;
constexpr double kKnockSigma_s = 0.010;

double median_of(const cv::Mat& picture) {
  std::vector<std::uint16_t> values;
  values.reserve(picture.total());
  for (int y = 0; y < picture.rows; ++y) {
    const auto* row = picture.ptr<std::uint16_t>(y);
    values.insert(values.end(), row, row + picture.cols);
  }
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// What the camera did.
void notice_camera(const steady::Steadied& steadied, const std::vector<double>& t_s,
                   const AnalysisOptions& options, const cv::Size& size, Noticed& noticed) {
  const Eigen::Vector3d middle((size.width - 1) / 2.0, (size.height - 1) / 2.0, 1.0);
  const auto lost = std::count_if(steadied.motion.begin(), steadied.motion.end(),
                                  [](const auto& motion) { return motion.lost; });
  std::vector<double> turning_deg_s;
  for (std::size_t k = 1; k < t_s.size(); ++k) {
    const steady::FrameMotion& a = steadied.motion[k - 1];
    const steady::FrameMotion& b = steadied.motion[k];
    if (a.lost || b.lost) {
      continue;
    }
    const Eigen::Vector2d step = (b.reference_from_frame * middle).hnormalized() -
                                 (a.reference_from_frame * middle).hnormalized();
    turning_deg_s.push_back(units::deg_from_rad(step.norm() / options.focal_px) /
                            (t_s[k] - t_s[k - 1]));
  }
  noticed.turning_deg_s = 0.0;
  noticed.lost_share = static_cast<double>(lost) / static_cast<double>(steadied.motion.size());
  if (!turning_deg_s.empty()) {
    const auto middle_one =
        turning_deg_s.begin() + static_cast<std::ptrdiff_t>(turning_deg_s.size() / 2);
    std::nth_element(turning_deg_s.begin(), middle_one, turning_deg_s.end());
    noticed.turning_deg_s = *middle_one;
  }
}

// Each takes the memory that the one before it gave up: fresh memory costs as much as the work.
void lay_on_reference(Stretch& stretch, const steady::Steadied& steadied) {
  cv::Mat laid;
  for (std::size_t k = 0; k < stretch.luma.size(); ++k) {
    steady::to_reference(stretch.luma[k], steadied.motion[k], laid);
    cv::swap(stretch.luma[k], laid);
  }
  stretch.steadied = true;
}

// The frames in which the arrow may leave the bow and those next to them; the others empty.
std::vector<cv::Mat> about_the_exit(const Stretch& stretch, double surge_s) {
  constexpr double kFor_s = 0.045;
  std::vector<cv::Mat> luma(stretch.luma.size());
  for (std::size_t k = 0; k < luma.size(); ++k) {
    if (stretch.t_s[k] > surge_s && stretch.t_s[k] < surge_s + kFor_s) {
      luma[k] = stretch.luma[k];
    }
  }
  return luma;
}

// Whether the frames are the first of those of the likeliest stretch.
bool begins(const LookedAt::Likeliest& likeliest, const std::vector<long>& index) {
  return index.size() <= likeliest.index.size() &&
         std::equal(index.begin(), index.end(), likeliest.index.begin());
}

// Whether it may be kept for another look. What is larger is decoded again: a clip of 4K is to be
// read within 1 GB.
bool may_be_kept(const Stretch& stretch) {
  constexpr double kMostBytes = 200e6;  // 64 frames of 1080p, with colour
  return 1.25 * static_cast<double>(stretch.luma.size() * stretch.luma.front().total()) <
         kMostBytes;
}

// The kept stretch up to after_s, empty where it is another one.
Stretch take_kept(const LookedAt::Surge& at, double surge_s, const AnalysisOptions& options,
                  LookedAt::Likeliest& likeliest) {
  if (!(likeliest.at == at)) {
    return {};
  }
  Stretch stretch = std::move(likeliest.stretch);
  const auto frames = static_cast<std::size_t>(
      std::lower_bound(stretch.t_s.begin(), stretch.t_s.end(), surge_s + options.after_s) -
      stretch.t_s.begin());
  stretch.luma.resize(frames);
  stretch.warmth.resize(std::min(frames, stretch.warmth.size()));
  stretch.index.resize(frames);
  stretch.t_s.resize(frames);
  return stretch;
}

// What says when the loose was. By sound alone, only what crosses the picture is looked for.
enum class Witness { motion, sound };

ShotAnalysis analyse_stretch(const media::Clip& clip, Stretch stretch, double surge_s,
                             Witness witness, const AnalysisOptions& options, LookedAt& looked) {
  ShotAnalysis analysis;
  analysis.frame_index = stretch.index;
  analysis.frame_t_s = stretch.t_s;
  analysis.surge_s = surge_s;
  if (stretch.luma.size() < kLeastStretchFrames) {
    analysis.outcome = Outcome::disturbed;
    return analysis;
  }
  // Sound and motion often find the same surge: the same frames tell the same again.
  const LookedAt::Surge same{surge_s, stretch.index.front()};
  if (std::find(looked.surges.begin(), looked.surges.end(), same) != looked.surges.end()) {
    return analysis;
  }
  looked.surges.push_back(same);
  const bool to_keep = may_be_kept(stretch);
  if (!to_keep && !options.colour) {
    stretch.warmth.clear();
  }
  Effort& effort = looked.effort;
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
  if (looked.likeliest.at == same && begins(looked.likeliest, stretch.index)) {
    analysis.steadied = looked.likeliest.steadied;
    analysis.steadied.motion.resize(stretch.luma.size());
  } else {
    analysis.steadied = steady::estimate_motion(stretch.luma, reference, steady_options);
  }
  if (!stretch.steadied) {
    lay_on_reference(stretch, analysis.steadied);
  }
  const cv::Size size = stretch.luma.front().size();
  effort.spend(effort.options.prepare_ns_per_px * 1e-6 *
               static_cast<double>(stretch.luma.size() * stretch.luma.front().total()));

  track::SweepOptions sweep_options;
  cv::Mat still;
  // A bow that stands still is in none of the changes: it is looked for in the picture itself.
  const std::vector<cv::Mat> luma =
      options.colour ? about_the_exit(stretch, surge_s) : std::vector<cv::Mat>{};
  if (options.colour) {
    changes_in_colour(stretch, analysis.steadied, still);
  }
  const track::Background background = track::learn_background(stretch.luma, sweep_options);
  if (!options.colour) {
    background.nine_mean.convertTo(still, CV_8U, 1.0 / 9.0);
  }
  const std::size_t from = frame_near(surge_s - 0.01);
  const std::vector<track::Passing> passings =
      track::find_passings(stretch.luma, background, from, t_s, sweep_options);
  Noticed& noticed = looked.noticed;
  if (witness == Witness::motion && (!noticed.stretch_seen || passings.size() > noticed.passings)) {
    notice_camera(analysis.steadied, t_s, options, size, noticed);
    noticed.stretch_seen = true;
    noticed.passings = passings.size();
    noticed.at_s = surge_s;
    noticed.noise = median_of(background.nine_sigma) / 9.0;
    looked.likeliest = {same, stretch.index, analysis.steadied, {}};
  }
  // What flies across the picture is no arrow seen from behind: that is quickly told.
  const std::vector<track::Crossing> crossings = track::find_crossings(passings, t_s, size, {});
  if (!crossings.empty() && options.view != View::behind) {
    noticed.crossing = true;
    effort.spend(effort.options.follow_ms);
    analysis.side = follow_from_side(
        {stretch.luma, t_s, surge_s, witness == Witness::motion ? kSurgeSigma_s : kKnockSigma_s,
         options.focal_px, fit_options(clip.info(), options, frame_s)},
        crossings, passings);
    // A flight as far from square as this may as well be one that bends across the picture as it
    // flies away.
    constexpr double kFarFromSquare_rad = 0.8;
    if (analysis.side && beyond_doubt(analysis) &&
        std::abs(analysis.side->fit.parameters[side::kYaw]) < kFarFromSquare_rad) {
      analysis.stroke = analysis.side->stroke;
      analysis.outcome = Outcome::measured;
      return analysis;
    }
  }
  BehindSearch behind(options, surge_s, reference, analysis, looked);
  if (options.view != View::side && witness == Witness::motion) {
    const Scene scene{stretch.luma, t_s, still, fit_options(clip.info(), options, frame_s)};
    behind.look_at_all(scene, passings);
    if (const std::size_t early = frame_near(surge_s + kBeforeBowSwingsS);
        early > reference && early < stretch.luma.size()) {
      behind.look_at_first(early, scene, from);
    }
  }
  if (behind.any()) {
    analysis.side.reset();
    const std::vector<cv::Mat>& as_filmed = options.colour ? luma : stretch.luma;
    analysis.limb = see_limb(as_filmed, analysis, options.debug_dir);
    // Seen by colour, no frames from before the loose were kept.
    if (!options.colour) {
      analysis.filmed_from = where_filmed(as_filmed, analysis);
    }
  } else if (analysis.side) {
    analysis.stroke = analysis.side->stroke;
    analysis.outcome = Outcome::measured;
  }
  if (looked.likeliest.at == same && !options.colour && to_keep) {
    looked.likeliest.stretch = std::move(stretch);
  }
  return analysis;
}

}  // namespace

bool beyond_doubt(const ShotAnalysis& analysis) {
  return analysis.side ? beyond_doubt(analysis.side->fit) : beyond_doubt(analysis.fit);
}

int ends_seen(const ShotAnalysis& analysis) {
  return analysis.side ? analysis.side->fit.ends : analysis.fit.ends;
}

ShotAnalysis analyse_loose(media::Clip& clip, double surge_s, const AnalysisOptions& options,
                           LookedAt& looked) {
  const LookedAt::Surge same{surge_s, first_frame_of(clip, surge_s, options)};
  if (std::find(looked.surges.begin(), looked.surges.end(), same) != looked.surges.end()) {
    return {};
  }
  Stretch stretch = take_kept(same, surge_s, options, looked.likeliest);
  if (stretch.luma.empty()) {
    stretch = load_stretch(clip, surge_s, options, looked.effort);
  }
  return analyse_stretch(clip, std::move(stretch), surge_s, Witness::motion, options, looked);
}

ShotAnalysis analyse_knock(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                           LookedAt& looked) {
  double surge_s = knock_s;
  Stretch stretch = load_heard(clip, knock_s, options, surge_s, looked.effort);
  return stretch.luma.empty()
             ? ShotAnalysis{}
             : analyse_stretch(clip, std::move(stretch), surge_s, Witness::motion, options, looked);
}

ShotAnalysis analyse_heard_alone(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                                 LookedAt& looked) {
  const double surge_s = knock_s - kSurgeToKnock_s;
  return analyse_stretch(clip, load_stretch(clip, surge_s, options, looked.effort), surge_s,
                         Witness::sound, options, looked);
}

}  // namespace nocktrail::pipeline
