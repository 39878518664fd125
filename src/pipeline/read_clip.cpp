#include "nocktrail/pipeline/read_clip.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <future>

#include "capture_rate.hpp"
#include "clip_setup.hpp"
#include "impact.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/track/loose.hpp"
#include "shot_analysis.hpp"
#include "shot_from_analysis.hpp"
#include "view_hint.hpp"
#include "why_no_shot.hpp"

namespace nocktrail {
namespace {

class Reader {
 public:
  Reader(media::Clip& clip, const ReadClipOptions& options, const Progress& progress)
      : clip_(clip),
        progress_(progress),
        focal_(pipeline::choose_focal(clip.info(), options)),
        analysis_(pipeline::analysis_options(focal_, options)) {
    const media::ClipInfo& info = clip.info();
    looked_.effort = pipeline::effort_for(double{1} * info.stored_width * info.stored_height *
                                          static_cast<double>(info.frame_t_s.size()));
  }

  // Whether some flight is beyond doubt.
  bool sure() const {
    return std::any_of(measured_.begin(), measured_.end(),
                       [](const auto& found) { return pipeline::beyond_doubt(found); });
  }
  const pipeline::Focal& focal() const { return focal_; }
  const std::vector<pipeline::ShotAnalysis>& measured() const { return measured_; }
  // For a clip in which none was.
  pipeline::WhatWasSeen seen() const {
    pipeline::WhatWasSeen seen = seen_;
    seen.noticed = looked_.noticed;
    return seen;
  }

  // Looks for looses, by sound first (few frames are decoded), by motion unless that leaves no
  // doubt, and by `colours`.
  void look(bool colours = true) {
    const track::LooseOptions loose;
    std::vector<double> knocks;
    if (clip_.info().has_audio) {
      tell("listening", 0.05);
      if (const std::optional<media::Sound> sound = clip_.sound()) {
        knocks = track::find_knocks(*sound, loose);
        seen_.knocks = knocks.size();
        if (analysis_.target_distance_m) {
          analysis_.sounds = pipeline::sounds_of_a_shot(*sound);
        }
        analyse(knocks, pipeline::analyse_knock, looked_.effort.options.heard_share, 0.1, 0.6);
      }
    }
    if (!sure()) {
      tell("looking for the loose", 0.6);
      const track::Scan scan =
          track::scan_motion(clip_, 0, static_cast<long>(clip_.info().frame_t_s.size()), loose,
                             scan_progress("looking for the loose", 0.6, 0.8));
      seen_.surges = scan.surges.size();
      seen_.bright = scan.bright;
      seen_.most_motion = scan.most_motion;
      std::vector<double> surges;
      for (const track::LooseCandidate& surge : scan.surges) {
        surges.push_back(surge.t_s);
      }
      analyse(surges, pipeline::analyse_loose, 1.0, 0.8, 0.95);
    }
    if (measured_.empty() && analysis_.view != View::behind) {
      analyse(knocks, pipeline::analyse_heard_alone, 1.0, 0.95, 1.0);
    }
    if (colours) {
      look_in_colour();
    }
    std::sort(measured_.begin(), measured_.end(),
              [](const auto& a, const auto& b) { return a.stroke->exit_s < b.stroke->exit_s; });
  }

 private:
  // Where brightness alone shows no arrow, or too little of it, its colour may: once more at the
  // likeliest moment.
  void look_in_colour() {
    const auto usable = [&](const pipeline::ShotAnalysis& found) {
      return pipeline::shot_from(found, clip_.info()).status == ShotStatus::measured;
    };
    // An arrow across its flight forbids to shoot it again: no second look takes that away.
    const auto speaks = [&](const pipeline::ShotAnalysis& found) {
      const Shot shot = pipeline::shot_from(found, clip_.info());
      return shot.status == ShotStatus::measured || rules::stands_across(shot);
    };
    if (std::any_of(measured_.begin(), measured_.end(), speaks) || !looked_.noticed.stretch_seen) {
      return;
    }
    // What went across the picture may as well have been a limb or a sleeve.
    std::vector<std::optional<View>> views{analysis_.view};
    if (!analysis_.view && looked_.noticed.crossing) {
      views = {View::side, View::behind};
    }
    for (std::size_t i = 0; i < views.size(); ++i) {
      const std::optional<View> view = views[i];
      // The first is always taken, the other as long as it is not far from what a clip may cost.
      if (i > 0 && !looked_.effort.may_go_on(looked_.effort.options.early_share)) {
        return;
      }
      tell("looking at colours", 0.95 + 0.02 * static_cast<double>(i));
      pipeline::AnalysisOptions options = analysis_;
      options.colour = true;
      options.view = view;
      if (view != View::side) {
        options.after_s = pipeline::kBeforeBowSwingsS;
      }
      looked_.surges.clear();
      pipeline::ShotAnalysis analysis =
          pipeline::analyse_loose(clip_, looked_.noticed.at_s, options, looked_);
      if (analysis.outcome == pipeline::Outcome::measured && usable(analysis)) {
        std::erase_if(measured_, [&](const pipeline::ShotAnalysis& other) {
          return std::abs(other.stroke->exit_s - analysis.stroke->exit_s) < 0.5;
        });
        measured_.push_back(std::move(analysis));
        return;
      }
    }
  }

  void tell(const std::string& what, double done) const {
    if (progress_ && !progress_(what, done)) {
      throw Interrupted{};
    }
  }

  track::ScanProgress scan_progress(const char* what, double from, double to) const {
    return [this, what, from, to](double share) {
      tell(what, from + share * (to - from));
      return true;
    };
  }

  // Up to a share of the effort.
  template <typename Analysis>
  void analyse(const std::vector<double>& candidates_s, const Analysis& analysis_at, double share,
               double from, double to) {
    for (std::size_t i = 0; i < candidates_s.size(); ++i) {
      const double t = candidates_s[i];
      tell(fmt::format("measuring at {:.2f} s", t),
           from + (to - from) * static_cast<double>(i) / static_cast<double>(candidates_s.size()));
      // Nobody shoots twice within half a second: other surges near a shot are what follows it.
      const bool settled = std::any_of(measured_.begin(), measured_.end(), [&](const auto& other) {
        return std::abs(other.stroke->loose_s - t) < 0.5 && pipeline::beyond_doubt(other);
      });
      if (settled) {
        continue;
      }
      if (!looked_.effort.may_go_on(share)) {
        seen_.cut_short = true;
        break;
      }
      pipeline::ShotAnalysis analysis = analysis_at(clip_, t, analysis_, looked_);
      if (analysis.outcome == pipeline::Outcome::disturbed) {
        seen_.too_few_frames = true;
        continue;
      }
      if (analysis.outcome != pipeline::Outcome::measured) {
        continue;
      }
      const auto same = std::find_if(measured_.begin(), measured_.end(), [&](const auto& other) {
        return std::abs(other.stroke->exit_s - analysis.stroke->exit_s) < 0.5;
      });
      if (same == measured_.end()) {
        measured_.push_back(std::move(analysis));
      } else if (pipeline::ends_seen(analysis) > pipeline::ends_seen(*same)) {
        *same = std::move(analysis);
      }
    }
  }

  media::Clip& clip_;
  const Progress& progress_;
  pipeline::Focal focal_;
  pipeline::AnalysisOptions analysis_;
  std::vector<pipeline::ShotAnalysis> measured_;
  pipeline::LookedAt looked_;
  pipeline::WhatWasSeen seen_;
};

// Whether the clip holds a shot if its frames are taken to be a quarter of a 60th of a second
// apart: slow motion that was stretched for play without saying so.
bool looks_like_stretched_slow_motion(const std::filesystem::path& path,
                                      const ReadClipOptions& options, const Progress& progress) {
  media::Clip clip = pipeline::open_at(path, pipeline::RateOptions{}.usual_slow_fps);
  ReadClipOptions quiet = options;
  quiet.debug_dir.clear();
  Reader reader(clip, quiet, progress);
  // What only colour shows is hardly beyond doubt, and a third of the cost.
  reader.look(false);
  // A flight that fits and would yet be refused is none to send people looking for a rate.
  const std::vector<pipeline::ShotAnalysis>& flights = reader.measured();
  return std::any_of(flights.begin(), flights.end(), [&](const pipeline::ShotAnalysis& found) {
    return pipeline::beyond_doubt(found) &&
           pipeline::shot_from(found, clip.info()).status == ShotStatus::measured;
  });
}

void judge_clip(Reading& reading, const std::string& nothing_reason) {
  const auto measured = std::find_if(reading.shots.begin(), reading.shots.end(), [](const Shot& s) {
    return s.status == ShotStatus::measured;
  });
  if (measured != reading.shots.end()) {
    reading.status = ClipStatus::measured;
  } else if (!reading.shots.empty()) {
    reading.status = ClipStatus::refused;
    reading.reason = reading.shots.front().reason;
  } else {
    reading.status = ClipStatus::no_shot;
    reading.reason = nothing_reason;
  }
}

Reading read_as_told(const std::filesystem::path& path, const ReadClipOptions& options,
                     const Progress& progress) {
  Reading reading;
  reading.clip.path = path.string();
  try {
    media::Clip clip = pipeline::open_at(path, options.capture_fps);
    reading.clip = pipeline::facts_of(clip);
    std::future<std::string> hash =
        std::async(std::launch::async, [&] { return media::sha256_of_file(path); });
    const media::ClipInfo info = clip.info();
    Reader reader(clip, options, progress);
    reading.camera = {reader.focal().px, reader.focal().source};
    const bool slow = pipeline::too_slow(info);
    if (!slow) {
      reader.look();
    }
    reading.clip.sha256 = hash.get();
    const rules::JudgeOptions judge = pipeline::judge_options(options);
    for (const pipeline::ShotAnalysis& analysis : reader.measured()) {
      Shot shot = pipeline::shot_from(analysis, info);
      rules::judge_shot(shot, judge);
      reading.shots.push_back(std::move(shot));
    }
    if (reading.shots.empty() && pipeline::may_be_stretched(info) &&
        looks_like_stretched_slow_motion(path, options, progress)) {
      reading.status = ClipStatus::refused;
      reading.reason =
          fmt::format("the clip plays at {:.0f} frames a second but moves like slow motion: {}",
                      info.capture_fps, rules::kSayRate);
      return reading;
    }
    if (slow && reading.shots.empty()) {
      reading.status = ClipStatus::refused;
      reading.reason = pipeline::why_too_slow(info);
      return reading;
    }
    std::string nothing = pipeline::why_no_shot(reader.seen());
    if (!clip.broken().empty()) {
      nothing += "; " + clip.broken();
    }
    judge_clip(reading, nothing);
    pipeline::hint_at_view(reading, options.view);
  } catch (const UnreadableClip& error) {
    reading.status = ClipStatus::error;
    reading.reason = error.what();
    reading.shots.clear();
  }
  return reading;
}

// A speed that was told outranks the picture and turns the reading with it (by 3 deg for a speed
// that is half too high): one that does not go with what the picture shows is left out, and said.
void leave_out_speed_at_odds(Reading& reading, const std::filesystem::path& path,
                             const ReadClipOptions& options, const Progress& progress) {
  constexpr double kAtOdds = 1.3;  // of the picture's own 95 % interval: 99 %
  ReadClipOptions untold = options;
  untold.speed_mps.reset();
  Reading as_seen = read_as_told(path, untold, progress);
  if (as_seen.shots.size() != reading.shots.size()) {
    return;
  }
  for (std::size_t i = 0; i < reading.shots.size(); ++i) {
    Shot& seen = as_seen.shots[i];
    if (seen.status != ShotStatus::measured || !seen.speed_mps ||
        std::abs(*options.speed_mps - seen.speed_mps->value) <= kAtOdds * seen.speed_mps->u95) {
      continue;
    }
    reading.shots[i] = std::move(seen);
    reading.shots[i].verdict.cautions.insert(
        reading.shots[i].verdict.cautions.begin(),
        fmt::format(
            "The speed of {:.0f} m/s that was told does not go with what the clip shows "
            "({} m/s), and was left out: look at its unit, and whether it was this arrow's.",
            *options.speed_mps,
            rules::with_interval(reading.shots[i].speed_mps->value,
                                 reading.shots[i].speed_mps->u95)));
  }
  reading.reason.clear();
  judge_clip(reading, "");
  pipeline::hint_at_view(reading, options.view);
}

}  // namespace

Reading read_clip(const std::filesystem::path& path, const ReadClipOptions& options,
                  const Progress& progress) {
  pipeline::check_options(options);
  Reading reading = read_as_told(path, options, progress);
  if (options.speed_mps && !reading.shots.empty()) {
    leave_out_speed_at_odds(reading, path, options, progress);
  }
  return reading;
}

}  // namespace nocktrail
