// Finds the streak of a receding arrow in a steadied stretch of frames, without knowing where it
// is: the first, coarse sight of the shot.
//
// Geometry. Every point of a body in straight, uniform flight runs in the picture along a line
// through the vanishing point of the flight, and the inverse of its distance s from that point
// grows linearly with time: with the flight line h below (or beside) the camera and Z the depth,
// s = f h / Z, hence 1/s = (Z0 + v t) / (f h). A pixel of the path is covered by the arrow for the
// time L / v wherever it lies. Both laws hold for nothing else in the picture: limbs, string and
// hands do not recede, leaves do not run, the arrow's shadow recedes with a far larger h.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

namespace nocktrail::track {

struct SweepOptions {
  double threshold_sigma = 4.5;  // how far from the background a pixel must be to count as changed
  double grey_floor = 0.9;       // least assumed noise of a 3x3 mean, grey levels
  double edge_slip_px = 0.12;    // leftover registration error: its product with the local
                                 // gradient counts as noise
  int background_frames = 11;    // frames whose median is the background
  int least_around = 8;          // of the 25 pixels around, how many must be changed with it
  std::size_t max_events = 60000;    // passings kept, drawn evenly when there are more
  std::size_t search_events = 7000;  // of these, how many the search scores
  int search_draws = 900;            // pairs tried for each body
  int cell_px = 0;  // 0: no matter where in a frame; else no more are scored of one square of this
                    // side than of others, so that a limb does not drown the arrow beside it
  int most_bodies = 6;             // streaks looked for
  double least_share = 0.15;       // of the best streak's score, for another to be worth a look
  double longest_cover_s = 0.034;  // a pixel covered for longer is not being passed by an arrow
  double least_v_per_h = 42.0;     // speed over the camera's distance from the flight line, 1/s:
  double most_v_per_h = 420.0;     // 40 m/s at 1.1 m to 80 m/s at 0.19 m; an arrow's shadow on the
                                   // ground, 1.5 m further down, stays below 36
  double least_body_v_per_h = 12.0;  // shadows are searched for too, to be told from arrows
  double most_sideways_deg = 62.0;  // the flight line lies below the camera, not beside it: how far
                                    // the path may lean from straight down in the picture,
  double usual_sideways_deg = 40.0;  // and, 1 sigma, does: 0.2 m aside at 0.5 m above are 22 deg, a
                                     // roll of the phone comes on top; limbs and hands lean more
  std::uint64_t seed = 20110;        // of the search's draws
};

// What the picture is without the arrow, and how much each pixel wanders, both of a 3x3 mean.
struct Background {
  cv::Mat nine_mean;   // CV_16UC1, nine times the 3x3 mean
  cv::Mat nine_sigma;  // CV_16UC1, nine times its noise, 1 sigma, registration slip included
};

// A pixel that differed from the background for a short while and then did not.
struct Passing {
  float x_px = 0.0F;
  float y_px = 0.0F;
  std::int16_t first = 0;  // frame of the stretch in which it began
  std::int16_t count = 0;  // frames it lasted
};

// The coarse flight: 1/s = inverse_start + inverse_rate * t, s in px from the vanishing point.
struct Sweep {
  Eigen::Vector2d vanishing_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d outward = Eigen::Vector2d::UnitY();  // from the vanishing point to the bow
  double inverse_start = 0.0;                          // 1/px at t = 0
  double inverse_rate = 0.0;                           // 1/(px s); positive: receding
  double cover_s = 0.0;  // how long a pixel of the path stays covered, about L / v
  double score = 0.0;    // passings explained, capped per frame, less where the path leans
  int frames = 0;        // frames in which it is seen

  double distance_px(double t_s) const { return 1.0 / (inverse_start + inverse_rate * t_s); }
  double v_per_h(double focal_px) const { return inverse_rate * focal_px; }
};

// The median, pixel by pixel, of up to so many pictures of one size and type, drawn evenly.
cv::Mat median_picture(const std::vector<cv::Mat>& pictures, int most);

Background learn_background(const std::vector<cv::Mat>& steadied, const SweepOptions& options);

// All short passings that begin at or after frame `from`. At most 64 frames.
std::vector<Passing> find_passings(const std::vector<cv::Mat>& steadied,
                                   const Background& background, std::size_t from,
                                   const std::vector<double>& t_s, const SweepOptions& options);

// The best receding streaks, best first, distinct from each other; empty when there is none. t_s
// are the frames' capture times, focal_px a rough focal length.
std::vector<Sweep> find_sweeps(const std::vector<Passing>& passings, const std::vector<double>& t_s,
                               double focal_px, const SweepOptions& options);

}  // namespace nocktrail::track
