// One loose, from frames to a measured shot. Private to the pipeline.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "effort.hpp"
#include "frames.hpp"
#include "nocktrail/bow/limb.hpp"
#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/steady/steady.hpp"
#include "nocktrail/track/shaft.hpp"
#include "nocktrail/track/sweep.hpp"
#include "side_shot.hpp"

namespace nocktrail::pipeline {

// Times of sudden sounds, loudest first: sharp ones, and those that are heard among dull ones
// alone.
struct ShotSounds {
  std::vector<double> sharp_s;
  std::vector<double> dull_s;
};

struct AnalysisOptions {
  bool colour = false;  // looks at what changes in colour, too: a shaft of its background's
                        // brightness may be of another one, wood before grey stone
  double focal_px = 0.0;
  double focal_relative_sigma = 0.10;
  std::optional<double> arrow_length_m;
  double before_s = 0.060;  // frames taken before the surge of motion
  double after_s = 0.180;   // and after it
  std::size_t most_frames = 64;
  double least_camera_distance_m = 0.12;  // of the camera from the line of flight; over the head
  double most_camera_distance_m = 0.95;   // it is 0.4-0.7 m; a fast arrow's shadow on the ground,
                                          // fitted as a slow arrow, seems to pass at 1.1 m
  // An arrow that could be measured shows both ends in eight frames and more (85 shots of known
  // truth); given up is what shows them in fewer than these in
  std::size_t hardly_any_ends = 3;          // two rounds running,
  std::size_t few_ends = 5;                 // or three, or,
  std::size_t few_ends_late = 8;            // where much was looked at already, these
  double own_surge_sigma_s = 0.020;         // where the surge was of something else: hardly a prior
  double early_surge_s = 0.007;             // so far before the flight's own it is doubted
  double latest_own_loose_s = 0.015;        // of that look, after the surge: a stroke is 12-20 ms
  std::optional<View> view;                 // told; empty: seen
  std::optional<double> speed_mps;          // told, within 1 %
  std::optional<double> target_distance_m;  // rest to the butt's face, told within 1 %
  ShotSounds sounds;
  std::filesystem::path debug_dir;
};

// A string is let go before the motion surges; a flight that has it later by more is at odds.
inline constexpr double kLatestLooseS = 0.005;

// A bow that swings in the hand after the shot sweeps over where the arrow flew: what the picture
// is there, and how much it changes by itself, show while it does not.
inline constexpr double kBeforeBowSwingsS = 0.08;

// Fewer frames around a loose hold no flight and no background.
inline constexpr std::size_t kLeastStretchFrames = 8;

// What the analysis of one candidate loose ends with.
enum class Outcome {
  measured,  // a flight was fitted
  nothing,   // nothing here that recedes like an arrow
  disturbed  // too few frames to be used
};

// How far answers are from each other, 1 sigma.
struct OffsetScatter {
  double right_rad = 0.0;
  double high_rad = 0.0;
  double speed_mps = 0.0;
};

struct ShotAnalysis {
  Outcome outcome = Outcome::nothing;
  std::vector<long> frame_index;  // presented index of each frame of the stretch
  std::vector<double> frame_t_s;
  double surge_s = 0.0;  // when the motion in the picture surged, or where the flight knows better
  steady::Steadied steadied;
  track::Sweep sweep;
  flight::FlightFit fit;
  std::vector<track::ArrowSighting> sightings;
  std::optional<flight::Stroke> stroke;
  std::optional<SideFlight> side;  // filmed from the side: then of the above only frames and stroke
  OffsetScatter scatter;           // between rounds of sighting and fitting that did not settle
  OffsetScatter apart;             // of the mean, by what parts of the frames say
  int thirds_lost = 0;  // of three looks without a third of the frames, those without a flight
  std::optional<bow::SeenLimb> limb;
  std::optional<FilmedFrom> filmed_from;
  ReadBy by = ReadBy::program;
  std::optional<double>
      freedom;  // degrees of freedom of the scatter, where not those of the frames
};

// Scatter of the arrow's ends about one flight, in their sigmas, beyond which they are not its
// ends.
inline constexpr double kMostEndScale = 1.8;

// Whether a fit explains so many sightings so well that no other streak needs to be tried.
bool beyond_doubt(const flight::FlightFit& fit);
bool beyond_doubt(const ShotAnalysis& analysis);

// Of the arrow, in all frames, for the better of two.
int ends_seen(const ShotAnalysis& analysis);

// What was noticed of the candidates, for the reasons when there is no shot; of the one with most
// passings, the likeliest to be a loose, where not said otherwise.
struct Noticed {
  bool stretch_seen = false;
  std::size_t passings = 0;
  double at_s = 0.0;
  double noise = 0.0;          // of a 3x3 mean, code values, the median over the picture
  double lost_share = 0.0;     // of its frames, those in which the camera's motion is not known
  double turning_deg_s = 0.0;  // of the camera, the median
  bool receding = false;       // of any: something that may recede as an arrow does
  bool crossing = false;       // of any: something that flies across the picture
};

// What has been looked at in a clip so far, and what it cost.
struct LookedAt {
  struct Surge {
    double t_s = 0.0;
    long first_frame = 0;
    bool operator==(const Surge&) const = default;
  };
  Effort effort;
  std::vector<Surge> surges;
  Noticed noticed;
  // The stretch at noticed.at_s, for another look: the camera moves alike in every colour.
  struct Likeliest {
    Surge at;
    std::vector<long> index;
    steady::Steadied steadied;
    Stretch stretch;  // steadied; empty where that would take too much memory
  };
  Likeliest likeliest;
};

// `surge_s` is the capture time near which the string may have been let go. What was looked at
// before is not looked at again: Outcome::nothing.
ShotAnalysis analyse_loose(media::Clip& clip, double surge_s, const AnalysisOptions& options,
                           LookedAt& looked);

// The same for a knock in the sound at `knock_s`, with which a surge of motion must go.
ShotAnalysis analyse_knock(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                           LookedAt& looked);

// For a knock without a surge: from beside the line the archer may be too small or too calm for
// one, the arrow is not. Only what crosses the picture is looked for. To be tried last: what it
// looked at counts as looked at.
ShotAnalysis analyse_heard_alone(media::Clip& clip, double knock_s, const AnalysisOptions& options,
                                 LookedAt& looked);

}  // namespace nocktrail::pipeline
