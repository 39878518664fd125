// From offsets with intervals to what they mean for the tune: the verdict, the trade's next small
// step, and the cautions that go with it. Knows nothing of video.
#pragma once

#include <optional>

#include "nocktrail/reading.hpp"

namespace nocktrail::rules {

struct JudgeOptions {
  Hand hand = Hand::unknown;
  // Cant of the bow, degrees, positive when the upper limb leans to the shooter's right; taken as
  // exact. Empty: the offsets are judged as if the bow stood upright, and in_bow stays empty.
  std::optional<double> cant_deg;
  // Offsets smaller than this, degrees, count as straight. A wider band asks for a larger offset
  // before it says weak or stiff, and says matched more easily.
  double dead_band_deg = 0.5;
};

// Where a 95 % interval lies against the dead band [-band, +band].
enum class Side {
  negative,  // the whole interval lies below -band
  straight,  // the whole interval lies inside the band
  positive,  // the whole interval lies above +band
  unclear    // anything else, or not a finite number
};

Side side_of(const Measured& offset_deg, double dead_band_deg);

// A reading turned into the frame of the bow.
struct BowFrameReading {
  Measured lat_deg;   // positive: nock to the right, square to the bow
  Measured vert_deg;  // positive: nock high, along the bow
  double correlation = 0.0;
};

// Inverts, for cant c,
//   nock_right =  lat cos c + vert sin c
//   nock_high  = -lat sin c + vert cos c
// and carries the covariance of (nock_right, nock_high) along: C_bow = R' C R. `correlation` is
// that of the errors of the two, in [-1, 1]; values beyond are brought back to the nearer end.
BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, double cant_deg);

// The verdict on offsets in the frame of the bow.
//   spine: right-handed, nock left (negative) is weak, nock right stiff; left-handed mirrored;
//          hand unknown, always unclear, and the summary says what it would mean for either hand.
//   nocking point: nock high is high, nock low is low.
// weak, stiff, high, low: the whole 95 % interval lies beyond the dead band on that side.
// matched, level: the whole interval lies inside it. Else unclear.
// The signs are common practice for a finger release, without an authoritative source.
Verdict judge(const Measured& lat_deg, const Measured& vert_deg, const JudgeOptions& options);

// Fills in_bow (when the cant is known) and verdict of one shot. A refused shot, or one without
// both offsets, gets unclear verdicts, a summary that gives the reason, and no next step.
void judge_shot(Shot& shot, const JudgeOptions& options);

}  // namespace nocktrail::rules
