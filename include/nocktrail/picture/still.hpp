// One picture that shows what was measured in a clip: for the archer's phone, for print, for
// someone who doubts the number.
#pragma once

#include <cstddef>
#include <functional>
#include <map>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::picture {

// Gives frames of the clip by presented index: CV_8UC3, BGR, display orientation and size. A frame
// that cannot be had is absent from the answer; the still is then drawn from those that are there.
using FrameFetcher = std::function<std::map<long, cv::Mat>(const std::vector<long>& indices)>;

struct StillOptions {
  Hand hand = Hand::unknown;   // as the verdict was judged
  double dead_band_deg = 0.5;  // as the verdict was judged
  // With what it was shot, a paragraph each ("Arrow: ..."), written at the foot; empty: no foot.
  std::vector<std::string> particulars = {};
  // What the facts of the set-up forbid, whole sentences: written above everything else.
  std::vector<std::string> stops = {};
  // Whether the next step of this shot alone is written. In a session it is not: the session's step
  // comes from all its shots, and a still is older than that.
  bool next_step = true;
};

// The still of shot `shot_number` (from 0) of a reading: the arrow at several instants over the
// background of the shot's reference frame, the fitted shaft enlarged beside the direction of
// flight, the offset as a dial seen from behind, and the numbers with their intervals in words.
// A refused shot, or a reading with no such shot, gives a frame of the clip with the reason.
// CV_8UC3, BGR, 1440 px wide; the height follows from what there is to say. Draws whatever the
// reading holds: not-finite values are left out, never thrown over.
cv::Mat draw_still(const Reading& reading, std::size_t shot_number, const FrameFetcher& fetch,
                   const StillOptions& options);

}  // namespace nocktrail::picture
