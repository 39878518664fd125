#include "nocktrail/rules/before_change.hpp"

#include <fmt/format.h>

#include <cmath>

#include "nocktrail/rules/cant.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::rules {
namespace {

Asked film(const Evidence& evidence) {
  Asked asked;
  asked.step = StepKind::film_more;
  asked.amount = kUsualShots - evidence.shots;
  if (evidence.shots == 0 && evidence.refused > 0) {
    asked.words = fmt::format(
        "Film {} shots of this set-up from behind and above the archer, looking downrange, with "
        "the loose and the whole bow in the picture.",
        kUsualShots);
    asked.because = fmt::format("None of its {} clip{} gave a number.", evidence.refused,
                                evidence.refused == 1 ? "" : "s");
    return asked;
  }
  asked.words = fmt::format("Film {} {}shots of this set-up{}.", kUsualShots - evidence.shots,
                            evidence.shots > 0 ? "more " : "",
                            evidence.shots > 0 ? " and change nothing yet" : "");
  asked.because = evidence.shots == 0
                      ? std::string("It has no shots yet.")
                      : fmt::format(
                            "{} shot{} cannot tell offset from scatter, and a sign that "
                            "does not come back is form or contact, not tune.",
                            evidence.shots, evidence.shots == 1 ? "" : "s");
  if (evidence.shots == 0 || !evidence.lat_deg || !evidence.vert_deg) {
    return asked;
  }
  if (std::abs(evidence.vert_deg->value) > evidence.dead_band_deg) {
    asked.because += " If they agree, the nocking point is looked at before spine.";
  } else if (std::abs(evidence.lat_deg->value) > evidence.dead_band_deg) {
    asked.because += " If they agree, the first change is one that can be undone, never a cut.";
  }
  return asked;
}

}  // namespace

bool too_far(double lat_deg, double vert_deg, bool fletched) {
  const double more_deg = fletched ? kFeathersHide_deg : 0.0;
  return std::abs(lat_deg) > kStopSideways_deg + more_deg ||
         std::abs(vert_deg) > kStopSideways_deg + more_deg ||
         std::hypot(lat_deg, vert_deg) > kStopInAll_deg + more_deg;
}

bool stands_across(const Shot& shot) {
  return shot.status == ShotStatus::refused &&
         shot.reason.find(kAcrossItsFlight) != std::string::npos;
}

std::optional<Asked> stop_for_mismatch(const Evidence& evidence) {
  if (!evidence.lat_deg && !evidence.vert_deg) {
    return std::nullopt;
  }
  const double lat = evidence.lat_deg ? evidence.lat_deg->value : 0.0;
  const double vert = evidence.vert_deg ? evidence.vert_deg->value : 0.0;
  if (!too_far(lat, vert, evidence.fletched)) {
    return std::nullopt;
  }
  const double one_way_deg = kStopSideways_deg + (evidence.fletched ? kFeathersHide_deg : 0.0);
  const double in_all_deg = kStopInAll_deg + (evidence.fletched ? kFeathersHide_deg : 0.0);
  const bool by_height = std::abs(vert) > std::abs(lat);
  const bool sideways = std::abs(lat) > one_way_deg;
  const bool up_and_down = std::abs(vert) > one_way_deg;
  const std::string trails = fmt::format("it trails {:.1f} deg {}",
                                         sideways      ? std::abs(lat)
                                         : up_and_down ? std::abs(vert)
                                                       : std::hypot(lat, vert),
                                         sideways      ? "sideways"
                                         : up_and_down ? "up and down"
                                                       : "in all");
  const double beyond_deg = sideways || up_and_down ? one_way_deg : in_all_deg;
  Asked asked;
  asked.step = StepKind::do_not_shoot_arrow;
  asked.words =
      evidence.fletched
          ? fmt::format(
                "Do not shoot this arrow: even fletched, {}, and beyond {:g} deg something is "
                "badly wrong (common practice: a shaft that does not suit the bow, or fletching "
                "that strikes it): it may break or glance off. Look it over for damage and the "
                "bow for marks, and {}.",
                trails, beyond_deg,
                by_height ? "set the nocking point anew with arrows that are known to fly well"
                          : "shoot only arrows of a spine that is known to suit the bow; choose "
                            "other shafts from there")
          : fmt::format(
                "Do not shoot this arrow: bare, {}, and beyond {:g} deg a shaft is too badly "
                "matched to be shot again (common practice): it may break. Look it over for "
                "damage, and {}.",
                trails, beyond_deg,
                by_height
                    ? "set the nocking point anew with fletched arrows of a spine that is known to "
                      "suit the bow, before any shaft is shot bare"
                    : "shoot the bow only with fletched arrows of a spine that is known to suit "
                      "it; choose other bare shafts from there");
  asked.because =
      sideways ? fmt::format("Measured: {}.", lateral_words(*evidence.lat_deg))
      : !evidence.lat_deg
          ? fmt::format("Measured from the side: {}.", vertical_words(*evidence.vert_deg))
          : fmt::format("Measured: {}, {}.", lateral_words(*evidence.lat_deg),
                        vertical_words(*evidence.vert_deg));
  if (!evidence.bare && !evidence.fletched) {
    asked.because += " If it was shot with feathers on, tell that: this is about bare shafts.";
  }
  return asked;
}

namespace {

// A cant that leans wrongly turns sideways into up and down: the next step may go the wrong way.
std::optional<Asked> ask_denied_cant(const Evidence& evidence) {
  if (!evidence.denied_cant || !evidence.lat_deg || !evidence.vert_deg) {
    return std::nullopt;
  }
  const DeniedCant& cant = *evidence.denied_cant;
  const auto differ = [&](const Measured& told_deg, const Measured& pictured_deg) {
    return std::abs(told_deg.value - pictured_deg.value) > evidence.dead_band_deg ||
           side_of(told_deg, evidence.dead_band_deg) !=
               side_of(pictured_deg, evidence.dead_band_deg);
  };
  if (!differ(*evidence.lat_deg, cant.as_pictured.lat_deg) &&
      !differ(*evidence.vert_deg, cant.as_pictured.vert_deg)) {
    return std::nullopt;
  }
  return Asked{
      StepKind::tell_cant, 0.0,
      fmt::format("Look at the cant: {:+.0f} deg was told, and the picture shows {:+.0f} ± {:.0f} "
                  "deg (positive: the upper limb to the shooter's right). Tell it as it is ({}), "
                  "or take it out: then what the picture shows is used.",
                  cant.told_deg, cant.seen_deg.value, cant.seen_deg.u95, evidence.how_to_tell_cant),
      fmt::format("By the one told it is {}, {}; by the one in the picture {}, {}: nothing must be "
                  "moved or cut before it is known.",
                  lateral_words(*evidence.lat_deg), vertical_words(*evidence.vert_deg),
                  lateral_words(cant.as_pictured.lat_deg),
                  vertical_words(cant.as_pictured.vert_deg))};
}

}  // namespace

std::optional<Asked> before_change(const Evidence& evidence) {
  if (evidence.shots == 0) {
    return film(evidence);
  }
  if (auto stop = stop_for_mismatch(evidence)) {
    return stop;
  }
  if (evidence.at_odds) {
    const bool right = evidence.at_odds->hand == Hand::right;
    return Asked{
        StepKind::tell_hand, 0.0,
        fmt::format(
            "Look at the hand: a {}-handed archer was told, but the bow in the picture leans "
            "to the {}. Tell the hand as it is ({}); if the bow really leans that way, tell "
            "its cant ({}); if left and right of the picture are exchanged, as some "
            "selfie cameras do, film with another camera.",
            right ? "right" : "left", right ? "left" : "right", evidence.how_to_tell_hand,
            evidence.how_to_tell_cant),
        fmt::format("The upper limb leans {:+.0f} ± {:.0f} deg (positive: to the shooter's right). "
                    "With a mirrored picture, another hand, a thumb release or an arrow on the "
                    "other side of the bow weak and stiff change places.",
                    evidence.at_odds->cant_deg.value, evidence.at_odds->cant_deg.u95)};
  }
  if (evidence.hand == Hand::unknown) {
    return Asked{StepKind::tell_hand, 0.0,
                 fmt::format("Tell whether the archer is right- or left-handed ({}).",
                             evidence.how_to_tell_hand),
                 "Without the hand the sideways offset cannot be turned into a step."};
  }
  if (auto asked = ask_denied_cant(evidence)) {
    return asked;
  }
  if (evidence.hangs_on_cant) {
    return Asked{StepKind::tell_cant, 0.0,
                 fmt::format("Tell the cant of the bow ({}): how far the upper limb leans, to "
                             "the shooter's right positive, 0 for an upright bow.",
                             evidence.how_to_tell_cant),
                 "A leaning bow turns sideways into up and down: the nocking point may be too "
                 "high, right or too low by the cant alone, and must not be moved before it is "
                 "known."};
  }
  if (evidence.shots < kFewestShots) {
    return film(evidence);
  }
  return std::nullopt;
}

bool hangs_on_cant(double right_deg, double high_deg, const Bow& bow, double dead_band_deg) {
  return bow.source == BowSource::assumed &&
         side_of(cant_alone(right_deg, high_deg, bow.cant_deg).vert_deg, dead_band_deg) ==
             Side::unclear;
}

}  // namespace nocktrail::rules
