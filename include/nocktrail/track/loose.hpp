// Finds the moments at which a string may have been let go, cheaply, in a whole clip.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <vector>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::track {

struct LooseOptions {
  int shrink = 8;  // the scan looks at pictures this many times smaller
  double least_change =
      0.8;  // a smaller change of a pixel between frames is no motion, code values
  double clear_sigmas = 4.0;  // nor is one that its usual changes explain
  double least_surge = 1.4;   // motion just after over motion just before
  double before_s = 0.08;     // what "before" and "after" mean
  double after_s = 0.016;
  double flight_s = 0.06;       // of which a shot wants to be seen after it
  double apart_s = 0.12;        // two surges are at least this far apart
  std::size_t most = 8;         // candidates kept
  double sound_slack_s = 0.08;  // how far sound and picture may disagree
  double least_knock = 6.0;     // loudness of a knock over what goes before it
  std::size_t most_knocks = 8;
  double knock_mean_s = 0.0;  // means of the sound over so long are listened to: a thud is dull
};

struct LooseCandidate {
  double t_s = 0.0;    // capture time at which the motion surges
  double surge = 0.0;  // how much, less near the ends of the film
};

// Told the share of the frames looked at; false asks to stop.
using ScanProgress = std::function<bool(double done)>;

// Times of sudden sounds, loudest first.
std::vector<double> find_knocks(const media::Sound& sound, const LooseOptions& options);

// What a look over the whole clip shows.
struct Scan {
  std::vector<LooseCandidate> surges;  // of motion, strongest first
  double bright = 0.0;                 // code value below which 95 % of the picture lies, the
                                       // median of some frames; black is 16, white 235
  double most_motion = 0.0;            // in any frame, mean grey levels a pixel
};

// Looks at frames [first, last). Leaves the clip's position changed.
Scan scan_motion(media::Clip& clip, long first, long last, const LooseOptions& options,
                 const ScanProgress& progress);

// The same in whole frames (CV_8UC1) at hand, taken at t_s.
std::vector<LooseCandidate> surges_among(const std::vector<cv::Mat>& luma,
                                         const std::vector<double>& t_s,
                                         const LooseOptions& options);

}  // namespace nocktrail::track
