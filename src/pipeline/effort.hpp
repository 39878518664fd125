// How much work a clip may cost while it gives no shot. Private to the pipeline.
#pragma once

namespace nocktrail::pipeline {

// Work is counted, never timed: the same clip gets the same answer on every machine, however busy.
// The prices are what each kind of work takes on one core of the machine it was measured on, within
// a factor of 1.5; only their proportions and the limit matter.
struct EffortOptions {
  double decode_ns_per_px = 4.0;        // of a whole frame, made grey
  double prepare_ns_per_px = 16.0;      // camera's motion, background and passings, a pixel a frame
  double background_ns_per_px = 6.0;    // of that, what is left where the motion is known
  double search_us_per_passing = 45.0;  // a search for streaks, a passing that it scores
  double follow_ms = 150.0;             // a streak's first flight
  double round_ms = 250.0;              // sighting and fitting once
  // A clip without a readable shot is to cost at most 5 s of one core and 1.5 times its decoding;
  // one time its decoding goes to the scan for motion. The rest is for work once begun, which is
  // not broken off.
  double most_ms = 3300.0;
  double share_of_decoding = 0.35;
  double heard_share = 0.7;   // of that, what may go to sounds, before motion is looked at
  double streak_share = 0.9;  // of all, up to where a stretch's further streaks are followed,
  double retry_share = 0.5;   // streaks are searched for more than once,
  double early_share = 1.3;   // and searched for again in the first part of a flight alone
};

struct Effort {
  EffortOptions options;
  double most_ms = 0.0;
  double spent_ms = 0.0;
  bool unlimited = false;  // a shot was found

  void spend(double ms) { spent_ms += ms; }
  // Whether more may be begun: the first thing always may.
  bool may_go_on(double share = 1.0) const { return unlimited || spent_ms <= share * most_ms; }
};

// What a clip of so many pixels in all its frames may cost.
inline Effort effort_for(double pixels, const EffortOptions& options = {}) {
  Effort effort;
  effort.options = options;
  effort.most_ms =
      options.most_ms + options.share_of_decoding * options.decode_ns_per_px * 1e-6 * pixels;
  return effort;
}

}  // namespace nocktrail::pipeline
