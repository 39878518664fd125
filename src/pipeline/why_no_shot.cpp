#include "why_no_shot.hpp"

#include <fmt/format.h>

#include <vector>

#include "doubts.hpp"

namespace nocktrail::pipeline {
namespace {

constexpr const char* kStandBehind =
    "film from behind and above the archer, looking downrange, with the loose in the clip";

// Of what is not so at most, and at least once.
Doubt never(bool seen, std::string what, std::string advice) {
  return {seen ? 1.0 : 0.0, Keep::at_most, 0.0, std::move(what), std::move(advice)};
}
Doubt at_least_one(std::size_t count, std::string what, std::string advice) {
  return {static_cast<double>(count), Keep::at_least, 1.0, std::move(what), std::move(advice)};
}

// What was measured of the picture.
std::vector<Doubt> of_the_picture(const WhatWasSeen& seen, const NoShotOptions& options) {
  const Noticed& noticed = seen.noticed;
  const char* const more_light = "film in daylight, or add light from behind the camera";
  std::vector<Doubt> table{
      {seen.bright, Keep::at_least, options.least_bright,
       fmt::format("the picture is too dark (its bright parts reach {:.0f} of 235)", seen.bright),
       more_light}};
  if (seen.bright >= options.least_bright && seen.bright < options.most_bright_of_noise) {
    table.push_back({noticed.noise, Keep::at_most, options.most_noise,
                     fmt::format("the picture is too dark (its noise is {:.0f} grey levels, more "
                                 "than a shaft can stand out from)",
                                 noticed.noise),
                     more_light});
  }
  if (seen.surges == 0 && seen.most_motion < options.least_motion) {
    table.push_back({seen.most_motion, Keep::at_least, options.least_motion,
                     "nothing moved in the picture",
                     "film the shot itself, from before the loose until after the hit"});
  } else if (!noticed.stretch_seen) {
    table.push_back(
        at_least_one(seen.surges, "no loose was seen (nothing in the picture sets off suddenly)",
                     "have the loose in the clip, and bow hand and upper limb in view"));
  }
  if (seen.knocks) {
    table.push_back(at_least_one(*seen.knocks,
                                 "no loose was heard (there is no sudden sound in the clip)",
                                 "have the loose in the clip, and leave the sound on"));
  }
  if (!noticed.stretch_seen) {
    return table;
  }
  const char* const steady = "put the phone on a stand, or hold it with both hands";
  if (noticed.turning_deg_s > options.most_turning_deg_s) {
    table.push_back(
        {noticed.turning_deg_s, Keep::at_most, options.most_turning_deg_s,
         fmt::format("the camera moved too much (it turned by {:.0f} deg a second at {:.2f} s)",
                     noticed.turning_deg_s, noticed.at_s),
         steady});
  } else {
    table.push_back(
        {noticed.lost_share, Keep::at_most, options.most_lost_share,
         fmt::format("the camera's motion cannot be told in {:.0f} % of the frames at {:.2f} s",
                     100.0 * noticed.lost_share, noticed.at_s),
         "steady the phone, and have still scenery in view"});
  }
  table.push_back(
      never(noticed.crossing,
            "something went across the picture as an arrow does that is filmed from the "
            "side, but too little of it stands out to be measured",
            "for spine, film from behind and above the archer; for the nocking point, "
            "from 2 to 4 m beside the line, square to it, the phone flat, level and at "
            "the arrow's height; either way before a background of another "
            "brightness"));
  return table;
}

}  // namespace

std::string why_no_shot(const WhatWasSeen& seen, const NoShotOptions& options) {
  std::vector<Doubt> doubts = those_that_hold(of_the_picture(seen, options));
  // By exclusion: what moved as at a loose, in a picture that is fit for it.
  if (doubts.empty() && seen.noticed.stretch_seen) {
    const char* const but =
        seen.noticed.receding
            ? "no arrow was seen to leave the bow (its flight is hidden, or stands out too little)"
            : "nothing was seen to fly away from the camera (the arrow's flight is hidden, or "
              "there "
              "was none)";
    doubts.push_back(
        {0.0, Keep::at_least, 1.0,
         fmt::format("at {:.2f} s something moved as at a loose, but {}", seen.noticed.at_s, but),
         // The near limb moves the other way before the arrow, by half of that.
         "film from behind and above the archer, looking downrange, the arrow clear of head, hat "
         "and limb (where an upright bow's limb stands before the flight, the phone 6 cm further "
         "to the left, to the right for a left-handed archer), before a ground of another "
         "brightness"});
  }
  if (seen.too_few_frames) {
    doubts.push_back({0.0, Keep::at_least, static_cast<double>(kLeastStretchFrames),
                      "there are too few frames around the loose",
                      "start before the draw ends, and stop after the hit"});
  }
  if (seen.cut_short) {
    doubts.push_back({1.0, Keep::at_most, 0.0,
                      "not every moment that might be the loose was looked at",
                      "cut the clip to a second or two around the loose"});
  }
  if (doubts.empty()) {
    return fmt::format("no arrow was seen leaving the bow: {}", kStandBehind);
  }
  return in_one_sentence(doubts);
}

}  // namespace nocktrail::pipeline
