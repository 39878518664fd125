// The trade's usual cautions, said in the same words everywhere, and the one limit that a reading
// alone can pass. Common practice of the trade and of club safety pages; no source.
#pragma once

namespace nocktrail::rules {

// A bare shaft that trails further than this sideways is not shot again: one that badly matched may
// break. Common practice has no figure; this is well beyond any that is tuned out step by step.
inline constexpr double kStopSideways_deg = 8.0;
// Nor one that trails further than that up or down, or than this in all: likewise chosen.
inline constexpr double kStopInAll_deg = 10.0;
// Feathers hide up to this much of a weak shaft (the arrow model, docs/arrow-model.md): a fletched
// arrow that trails further than the two above by that is not shot again either.
inline constexpr double kFeathersHide_deg = 4.0;

// From here on, the near end of the interval counts as badly mismatched and brings its caution.
// A chosen figure, on the careful side.
inline constexpr double kBadMismatch_deg = 2.0;

// How a clip is refused in which the arrow stands across its flight by more than is measured.
inline constexpr const char* kAcrossItsFlight = "across its flight, more than can be measured";
inline constexpr const char* kStopAcross =
    "Do not shoot this arrow until the set-up has been looked over: nocking point, spine, rest and "
    "loose; look the shaft over for damage.";

namespace caution {

inline constexpr const char* kShaft =
    "Before each shot look at the shaft, twist it, flex it about 2 in while turning it, and "
    "listen; destroy a damaged carbon shaft, break a cracked wooden one.";
inline constexpr const char* kRange =
    "Nobody downrange; whoever films stays behind the shooting line, clear of elbow and limbs; "
    "secure an overhead mount; leave the phone where it is until the line is called clear. Local "
    "range rules override this advice.";
inline constexpr const char* kBeside =
    "Nobody beside the arrow's path forward of the shooting line: a phone that films from the side "
    "stands there alone, and is fetched when the line is called clear. Nobody downrange. Local "
    "range rules override this advice.";
inline constexpr const char* kBare =
    "Start bare shafts close by, at a large soft butt, with others well back, and stop when the "
    "flight is erratic: a badly mismatched one may break or glance off.";
inline constexpr const char* kWeak = "A shaft that is much too weak can break on release.";
inline constexpr const char* kMass =
    "The arrow gets lighter: 5 grains per pound of draw weight is the absolute floor, traditional "
    "bowyers usually ask for 8 to 10, and the bow maker's limits on arrow mass, draw and brace "
    "height win. Weigh it before shooting.";
inline constexpr const char* kTrim =
    "A cut cannot be undone. Never trim so far that the arrow could be drawn past the rest.";
inline constexpr const char* kCut =
    "Cut carbon wet or with dust extraction, wearing a fine-dust respirator, eye protection and "
    "gloves.";
inline constexpr const char* kBrace =
    "Stay within the bow maker's limits on brace height, unstring the bow to twist the string, and "
    "never dry-fire it.";

}  // namespace caution

}  // namespace nocktrail::rules
