#include "shot_analysis.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <opencv2/imgproc.hpp>

#include "debug_pictures.hpp"
#include "flight_start.hpp"
#include "nocktrail/median.hpp"
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
  return upper_median(values);
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
    noticed.turning_deg_s = upper_median(turning_deg_s);
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

// One candidate loose in the frames around it, step by step.
class StretchAnalysis {
 public:
  StretchAnalysis(const media::Clip& clip, Stretch stretch, double surge_s, Witness witness,
                  const AnalysisOptions& options, LookedAt& looked)
      : clip_(clip),
        stretch_(std::move(stretch)),
        surge_s_(surge_s),
        witness_(witness),
        options_(options),
        looked_(looked) {
    analysis_.frame_index = stretch_.index;
    analysis_.frame_t_s = stretch_.t_s;
    analysis_.surge_s = surge_s;
  }

  ShotAnalysis made() {
    if (stretch_.luma.size() < kLeastStretchFrames) {
      analysis_.outcome = Outcome::disturbed;
      return std::move(analysis_);
    }
    same_ = {surge_s_, stretch_.index.front()};
    // Sound and motion often find the same surge: the same frames tell the same again.
    if (std::find(looked_.surges.begin(), looked_.surges.end(), same_) != looked_.surges.end()) {
      return std::move(analysis_);
    }
    looked_.surges.push_back(same_);
    const bool to_keep = may_be_kept(stretch_);
    if (!to_keep && !options_.colour) {
      stretch_.warmth.clear();
    }
    take_motion_out();
    find_changes();
    if (!look_from_side()) {
      look_from_behind();
      if (looked_.likeliest.at == same_ && !options_.colour && to_keep) {
        looked_.likeliest.stretch = std::move(stretch_);
      }
    }
    return std::move(analysis_);
  }

 private:
  const std::vector<double>& t_s() const { return stretch_.t_s; }
  const std::vector<steady::FrameMotion>& motion() const { return analysis_.steadied.motion; }

  std::size_t frame_near(double t) const {
    const auto at = std::lower_bound(t_s().begin(), t_s().end(), t) - t_s().begin();
    return static_cast<std::size_t>(
        std::clamp<std::ptrdiff_t>(at, 0, static_cast<std::ptrdiff_t>(t_s().size()) - 1));
  }

  flight::FitOptions fit_options_here() const {
    const double frame_s = (t_s().back() - t_s().front()) / static_cast<double>(t_s().size() - 1);
    return fit_options(clip_.info(), options_, frame_s);
  }

  void take_motion_out() {
    reference_ = frame_near(surge_s_ + 0.05);
    if (looked_.likeliest.at == same_ && begins(looked_.likeliest, stretch_.index)) {
      analysis_.steadied = looked_.likeliest.steadied;
      analysis_.steadied.motion.resize(stretch_.luma.size());
    } else {
      steady::SteadyOptions steady_options;
      steady_options.focal_px = options_.focal_px;
      analysis_.steadied = steady::estimate_motion(stretch_.luma, reference_, steady_options);
    }
    if (!stretch_.steadied) {
      lay_on_reference(stretch_, analysis_.steadied);
    }
    looked_.effort.spend(looked_.effort.options.prepare_ns_per_px * 1e-6 *
                         static_cast<double>(stretch_.luma.size() * stretch_.luma.front().total()));
  }

  void find_changes() {
    const track::SweepOptions sweep_options;
    // A bow that stands still is in none of the changes: it is looked for in the picture itself.
    if (options_.colour) {
      about_exit_ = about_the_exit(stretch_, surge_s_);
      changes_in_colour(stretch_, analysis_.steadied, still_);
    }
    const track::Background background = track::learn_background(stretch_.luma, sweep_options);
    if (!options_.colour) {
      background.nine_mean.convertTo(still_, CV_8U, 1.0 / 9.0);
    }
    first_ = frame_near(surge_s_ - 0.01);
    passings_ = track::find_passings(stretch_.luma, background, first_, t_s(), sweep_options);
    Noticed& noticed = looked_.noticed;
    if (witness_ == Witness::motion &&
        (!noticed.stretch_seen || passings_.size() > noticed.passings)) {
      notice_camera(analysis_.steadied, t_s(), options_, stretch_.luma.front().size(), noticed);
      noticed.stretch_seen = true;
      noticed.passings = passings_.size();
      noticed.at_s = surge_s_;
      noticed.noise = median_of(background.nine_sigma) / 9.0;
      looked_.likeliest = {same_, stretch_.index, analysis_.steadied, {}};
    }
  }

  // What flies across the picture is no arrow seen from behind: that is quickly told. Whether it
  // is beyond doubt.
  bool look_from_side() {
    const std::vector<track::Crossing> crossings =
        track::find_crossings(passings_, t_s(), stretch_.luma.front().size(), {});
    if (crossings.empty() || options_.view == View::behind) {
      return false;
    }
    looked_.noticed.crossing = true;
    looked_.effort.spend(looked_.effort.options.follow_ms);
    const double surge_sigma_s = witness_ == Witness::motion ? kSurgeSigma_s : kKnockSigma_s;
    analysis_.side = follow_from_side({stretch_.luma, t_s(), motion(), surge_s_, surge_sigma_s,
                                       options_.focal_px, fit_options_here()},
                                      crossings, passings_);
    // A flight as far from square as this may as well be one that bends across the picture as it
    // flies away.
    constexpr double kFarFromSquare_rad = 0.8;
    if (!analysis_.side || !beyond_doubt(analysis_) ||
        std::abs(analysis_.side->fit.parameters[side::kYaw]) >= kFarFromSquare_rad) {
      return false;
    }
    take_side();
    return true;
  }

  void take_side() {
    analysis_.stroke = analysis_.side->stroke;
    analysis_.outcome = Outcome::measured;
  }

  void look_from_behind() {
    BehindSearch behind(options_, surge_s_, reference_, analysis_, looked_);
    if (options_.view != View::side && witness_ == Witness::motion) {
      const Scene scene{stretch_.luma, t_s(), motion(), still_, fit_options_here()};
      behind.look_at_all(scene, passings_);
      const std::size_t early = frame_near(surge_s_ + kBeforeBowSwingsS);
      if (early > reference_ && early < stretch_.luma.size()) {
        behind.look_at_first(early, scene, first_);
      }
    }
    if (behind.any()) {
      analysis_.side.reset();
      const std::vector<cv::Mat>& as_filmed = options_.colour ? about_exit_ : stretch_.luma;
      analysis_.limb = see_limb(as_filmed, analysis_, options_.debug_dir);
      // Seen by colour, no frames from before the loose were kept.
      if (!options_.colour) {
        analysis_.filmed_from = where_filmed(as_filmed, analysis_);
      }
    } else if (analysis_.side) {
      take_side();
    }
  }

  const media::Clip& clip_;
  Stretch stretch_;
  double surge_s_;
  Witness witness_;
  const AnalysisOptions& options_;
  LookedAt& looked_;

  LookedAt::Surge same_;
  ShotAnalysis analysis_;
  std::size_t reference_ = 0;
  std::size_t first_ = 0;            // of the frames in which the arrow may fly
  cv::Mat still_;                    // the background, CV_8UC1
  std::vector<cv::Mat> about_exit_;  // as filmed, for a look in colour
  std::vector<track::Passing> passings_;
};

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
  return StretchAnalysis(clip, std::move(stretch), surge_s, Witness::motion, options, looked)
      .made();
}

ShotAnalysis analyse_knock(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                           LookedAt& looked) {
  double surge_s = knock_s;
  Stretch stretch = load_heard(clip, knock_s, options, surge_s, looked.effort);
  return stretch.luma.empty()
             ? ShotAnalysis{}
             : StretchAnalysis(clip, std::move(stretch), surge_s, Witness::motion, options, looked)
                   .made();
}

ShotAnalysis analyse_heard_alone(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                                 LookedAt& looked) {
  const double surge_s = knock_s - kSurgeToKnock_s;
  return StretchAnalysis(clip, load_stretch(clip, surge_s, options, looked.effort), surge_s,
                         Witness::sound, options, looked)
      .made();
}

}  // namespace nocktrail::pipeline
