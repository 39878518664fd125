// The power stroke as seen in the picture: when the string was let go, when the nock left it, and
// from these where the arrow rest lies along the flight.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"

namespace nocktrail::flight {

// Where the point was found in one frame, written as the time at which the free flight, followed
// backward, would have had it there. In free flight the two times agree; before the nock leaves
// the string the arrow is slower than the free flight, so the point is ahead of the backward
// continuation and virtual_s is later than t_s.
struct TipPlace {
  double t_s = 0.0;
  double virtual_s = 0.0;
  double sigma_m = 0.01;  // along the flight, 1 sigma
};

struct StrokeOptions {
  double least_stroke_m = 0.33;  // full draw to brace: draw lengths of 24 to 32 in
  double most_stroke_m = 0.66;
  double brace_m = 0.17;  // contract: about 0.17 m; 0.15-0.19 in use
  double brace_sigma_m = 0.015;
  double stroke_mean_m = 0.50;
  double stroke_sigma_m = 0.06;
  double short_share = 0.35;  // of places short of the point: it is hidden there
  double long_share = 0.15;   // of places beyond it
  // Places of frames that follow each other are mistaken for the same thing: together they weigh as
  // this share of as many independent ones. On 28 clips with the truth beside, at 1 the exit lay
  // beyond twice its sigma in 11, at 0.4 in 3, its median error 2.0 ms either way.
  double places_weight = 0.4;
  double surge_share = 0.57;     // of the stroke's time, when limbs and string move most visibly,
  double surge_sigma_s = 0.005;  // and how well that is seen
  Prior camera_behind_m = FlightPriors{}.camera_behind_m;
};

struct Stroke {
  double loose_s = 0.0;
  double exit_s = 0.0;
  double exit_sigma_s = 0.01;  // 1 sigma
  // The exit by pictures and surge alone, for the fit: where the camera stands is a prior of its
  // own there, and in exit_s given the flight that was fitted. So it enters once: what is known of
  // scale and exit together is the one given nothing of the other, times the other given the one.
  double witnessed_exit_s = 0.0;
  double witnessed_exit_sigma_s = 0.01;  // 1 sigma
  double rest_forward_m = 0.0;  // forward coordinate of the rest, in the fit's flight basis
  double rest_sigma_m = 0.2;    // 1 sigma
  bool seen = false;            // from the pictures, not from a prior alone
};

// What of a fitted flight the stroke hangs on, whichever view it was fitted from.
struct FreeFlight {
  double speed_mps = 0.0;
  // The nock's forward coordinate, m, at a capture time, the flight followed backward too.
  std::function<double(double t_s)> nock_forward_m;
};

// Fits the quarter-sine power stroke of a bow whose force falls linearly to the brace height
// (textbook: v = v0 sin(w t), w = v0 / stroke; docs/arrow-model.md) to the point's places
// and hands on when the nock left the string, with the rest one brace height further on. Exit time
// and stroke are integrated over on a grid; places are outliers with a fixed chance. Without any
// place before the exit, the result rests on `surge_s` (when the motion surged), a place for the
// camera, and `seen` is false.
Stroke fit_stroke(const FreeFlight& flight, const std::vector<TipPlace>& places, double surge_s,
                  const StrokeOptions& options);
Stroke fit_stroke(const FlightFit& fit, const std::vector<TipPlace>& places, double surge_s,
                  const StrokeOptions& options);

}  // namespace nocktrail::flight
