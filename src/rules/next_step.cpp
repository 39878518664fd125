// Steps, sizes and safety wording are common practice of the trade and of club safety pages; none
// has an authoritative source.
#include "next_step.hpp"

#include <fmt/format.h>

#include <cmath>

namespace nocktrail::rules {
namespace {

// From here on, the near end of the interval counts as badly mismatched and brings its caution.
// A chosen figure, on the careful side.
constexpr double kBadMismatchDeg = 2.0;

const char* const kCautionShaft =
    "Before each shot look at the shaft, twist it, flex it about 2 in while turning it, and "
    "listen; "
    "destroy a damaged carbon shaft, break a cracked wooden one.";
const char* const kCautionRange =
    "Nobody downrange; whoever films stays behind the shooting line, clear of elbow and limbs; "
    "secure an overhead mount; leave the phone where it is until the line is called clear. Local "
    "range rules override this advice.";
const char* const kCautionMismatch =
    "A badly mismatched bare shaft may break or glance off: start close, at a large soft butt, "
    "with others well back, and stop when the flight is erratic.";
const char* const kCautionWeak = "A shaft that is much too weak can break on release.";
const char* const kCautionMass =
    "A lighter tip or a shorter shaft makes the arrow lighter: 5 grains per pound of draw weight "
    "is the absolute floor, traditional bowyers usually ask for 8 to 10, and the bow maker's "
    "limits on arrow mass, draw and brace height win.";
const char* const kCautionTrim = "Never trim so far that the arrow could be drawn past the rest.";
const char* const kCautionCut =
    "Cut carbon wet or with dust extraction, wearing a fine-dust respirator, eye protection and "
    "gloves.";
const char* const kCautionBrace =
    "Stay within the bow maker's limits on brace height, and never dry-fire the bow.";

const char* const kRepeatFirst =
    "First film at least three more shots with this arrow: a sign that does not come back is form "
    "or contact, not tune. ";

double near_end(const Measured& offset_deg) {
  return std::abs(offset_deg.value) - offset_deg.u95;
}

void nocking_point_step(Verdict& verdict, bool high) {
  if (high) {
    verdict.next_step +=
        "If it comes back, move the nocking point down 1/16 in (1.6 mm) and shoot again. Nock high "
        "has "
        "two causes: if it shrinks, the nocking point was too high, so go on until it just "
        "disappears; if it grows or comes back on the way down, the arrow is bouncing off the "
        "shelf, so go back up.";
  } else {
    verdict.next_step +=
        "If it comes back, move the nocking point up 1/16 in (1.6 mm) and shoot again, until nock "
        "low "
        "just disappears.";
  }
}

void spine_step(Verdict& verdict, Hand hand, bool weak) {
  // A change towards stiff moves a right-handed archer's nock to the right.
  const bool moves_right = weak == (hand == Hand::right);
  const char* way = moves_right ? "right" : "left";
  if (weak) {
    verdict.next_step += fmt::format(
        "If it comes back, make one change that can be undone, a lighter tip or a slightly thicker "
        "strike plate, and shoot again: the nock must move to the {}; if it goes the other way, "
        "look for contact or a false reading, not spine. Only a full-length shaft that reads weak "
        "over several shots is trimmed, at most 1/4 in (6 mm) at a time, because a cut cannot be "
        "undone.",
        way);
    verdict.cautions.insert(verdict.cautions.end(),
                            {kCautionWeak, kCautionMass, kCautionTrim, kCautionCut});
  } else {
    verdict.next_step += fmt::format(
        "If it comes back, make one change, a heavier tip or a slightly thinner strike plate, or "
        "try a "
        "weaker shaft, and shoot again: the nock must move to the {}; if it goes the other way, "
        "look for contact or a false reading, not spine. Do not trim: a shorter shaft is stiffer "
        "still.",
        way);
  }
}

}  // namespace

void add_next_step(Verdict& verdict, const Measured& lat_deg, const Measured& vert_deg,
                   const JudgeOptions& options) {
  const double band = options.dead_band_deg;
  verdict.next_step = kRepeatFirst;
  // The nocking point comes before spine; when this shot leaves it open but near level, spine may
  // be looked at by changes that can be undone.
  const bool nocking_point_open =
      verdict.nocking_point == NockingPointVerdict::unclear && std::abs(vert_deg.value) > band;
  if (verdict.nocking_point == NockingPointVerdict::high ||
      verdict.nocking_point == NockingPointVerdict::low) {
    nocking_point_step(verdict, verdict.nocking_point == NockingPointVerdict::high);
  } else if (nocking_point_open) {
    verdict.next_step += fmt::format(
        "The nocking point comes before spine, and one shot leaves it open: act on nock {} only "
        "when the mean of those shots shows it, and leave shaft and tip alone until then.",
        vert_deg.value > 0.0 ? "high" : "low");
  } else if (options.hand == Hand::unknown) {
    verdict.next_step +=
        "Then say whether the archer is right- or left-handed; without it the sideways offset "
        "cannot be turned into a step.";
  } else if (verdict.spine == SpineVerdict::weak || verdict.spine == SpineVerdict::stiff) {
    spine_step(verdict, options.hand, verdict.spine == SpineVerdict::weak);
  } else if (verdict.spine == SpineVerdict::matched) {
    verdict.next_step +=
        "If they agree, leave the arrow as it is; what is left is fine-tuning by brace height, a "
        "few turns of the string at a time.";
    verdict.cautions.emplace_back(kCautionBrace);
  } else {
    verdict.next_step +=
        "Judge spine by the mean of those shots; change nothing, and cut nothing, on this reading.";
  }
  if (near_end(lat_deg) > kBadMismatchDeg || near_end(vert_deg) > kBadMismatchDeg) {
    verdict.cautions.emplace_back(kCautionMismatch);
  }
  verdict.cautions.emplace_back(kCautionShaft);
  verdict.cautions.emplace_back(kCautionRange);
}

}  // namespace nocktrail::rules
