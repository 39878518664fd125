// From offsets with intervals to what they mean for the tune: the verdict, the trade's next small
// step, and the cautions that go with it. Knows nothing of video.
#pragma once

#include <optional>

#include "nocktrail/reading.hpp"
#include "nocktrail/rules/cant.hpp"

namespace nocktrail::rules {

// The widest dead band that may be asked for, degrees: a wider one would call straight what is near
// the limits from which a shaft must not be shot. No source.
inline constexpr double kWidestBand_deg = 1.5;

struct JudgeOptions {
  Hand hand = Hand::unknown;
  // Cant of the bow as told, degrees, positive when the upper limb leans to the shooter's right.
  // Empty: assumed for the hand, with a wide spread (cant.hpp).
  std::optional<double> cant_deg;
  bool fletched = false;      // known to be: no cautions of bare shafts
  bool bare = false;          // likewise; where neither is known the careful case holds
  bool hand_doubted = false;  // told, but the bow leans to the other side: unknown, and said so
  bool cant_decides = false;  // what is open of the nocking point hangs on the cant: said so
  // The same offsets turned by the cant that the picture shows, where the one told is not that:
  // what the two do not agree on is unclear.
  std::optional<BowFrameReading> as_pictured = {};
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

// The verdict on offsets in the frame of the bow: spine, nocking point and summary, no step.
//   spine: right-handed, nock left (negative) is weak, nock right stiff; left-handed mirrored;
//          hand unknown, always unclear, and the summary says what it would mean for either hand.
//   nocking point: nock high is high, nock low is low.
// weak, stiff, high, low: the whole 95 % interval lies beyond the dead band on that side.
// matched, level: the whole interval lies inside it. Else unclear.
// The signs are common practice for a finger release, without an authoritative source.
Verdict judge(const Measured& lat_deg, const Measured& vert_deg, const JudgeOptions& options);

// Fills bow, in_bow and verdict of one shot. A refused shot, or one without both offsets, gets
// neither bow nor in_bow, unclear verdicts, a summary that gives the reason, and no next step. The
// next step of one shot is what a session that holds this shot alone would say (before_change.hpp).
void judge_shot(Shot& shot, const JudgeOptions& options);

}  // namespace nocktrail::rules
