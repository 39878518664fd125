#include "nocktrail/rules/rules.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::rules {
namespace {

// Of the offset to the side, where nothing was seen of it: bare shafts that are shot at all trail
// within 6 deg (common practice, no source).
constexpr double kUsualLateralU95_deg = 6.0;

bool usable(const Measured& measured) {
  return std::isfinite(measured.value) && std::isfinite(measured.u95) && measured.u95 >= 0.0;
}

SpineVerdict spine_of(Side side, Hand hand) {
  if (hand == Hand::unknown || side == Side::unclear) {
    return SpineVerdict::unclear;
  }
  if (side == Side::straight) {
    return SpineVerdict::matched;
  }
  return (side == Side::negative) == (hand == Hand::right) ? SpineVerdict::weak
                                                           : SpineVerdict::stiff;
}

NockingPointVerdict nocking_point_of(Side side) {
  switch (side) {
    case Side::negative:
      return NockingPointVerdict::low;
    case Side::straight:
      return NockingPointVerdict::level;
    case Side::positive:
      return NockingPointVerdict::high;
    case Side::unclear:
      break;
  }
  return NockingPointVerdict::unclear;
}

// How an interval that settles nothing leans, and why it settles nothing. `negative` and
// `positive` name what each side would mean.
std::string leaning(const Measured& offset_deg, double band, const char* negative,
                    const char* straight, const char* positive,
                    const char* settles = "the mean of several shots would settle it") {
  const bool below = offset_deg.value < 0.0;
  if (std::abs(offset_deg.value) <= band) {
    return fmt::format(
        "leans {} but the interval reaches beyond the dead band of ±{:g} deg, and {}", straight,
        band, settles);
  }
  const bool crosses_zero = std::abs(offset_deg.value) <= offset_deg.u95;
  return fmt::format("leans {} but the interval reaches {}, and {}", below ? negative : positive,
                     crosses_zero ? "across straight to the other side"
                                  : fmt::format("into the dead band of ±{:g} deg", band),
                     settles);
}

std::string spine_clause(SpineVerdict spine, const Measured& lat_deg, const JudgeOptions& options) {
  const std::string seen = lateral_words(lat_deg);
  if (options.hand == Hand::unknown) {
    const char* why = options.hand_doubted
                          ? "while the hand told and the lean of the bow do not go together"
                          : "without the archer's hand";
    const Side side = side_of(lat_deg, options.dead_band_deg);
    if (side == Side::straight) {
      return fmt::format(
          "Spine unclear {}: {}, straight, would be matched for a right-handed and for a "
          "left-handed archer",
          why, seen);
    }
    const bool left = lat_deg.value < 0.0;
    return fmt::format(
        "Spine unclear {}: {} {} {} for a right-handed archer and {} for a left-handed one", why,
        seen, side == Side::unclear ? "would lean" : "would be", left ? "weak" : "stiff",
        left ? "stiff" : "weak");
  }
  const bool right_handed = options.hand == Hand::right;
  const char* archer = right_handed ? "right-handed" : "left-handed";
  switch (spine) {
    case SpineVerdict::weak:
      return fmt::format("Reads weak for a {} archer: {}", archer, seen);
    case SpineVerdict::stiff:
      return fmt::format("Reads stiff for a {} archer: {}", archer, seen);
    case SpineVerdict::matched:
      return fmt::format("Reads matched: {}, inside the dead band of ±{:g} deg", seen,
                         options.dead_band_deg);
    case SpineVerdict::unclear:
      break;
  }
  return fmt::format("Spine unclear for a {} archer: {} {}", archer, seen,
                     leaning(lat_deg, options.dead_band_deg, right_handed ? "weak" : "stiff",
                             "matched", right_handed ? "stiff" : "weak"));
}

std::string nocking_point_clause(NockingPointVerdict verdict, const Measured& vert_deg,
                                 const JudgeOptions& options) {
  const std::string seen = vertical_words(vert_deg);
  switch (verdict) {
    case NockingPointVerdict::high:
      return fmt::format("{}, from a nocking point too high or, by a bounce off the shelf, too low",
                         seen);
    case NockingPointVerdict::low:
      return fmt::format("{}, from a nocking point too low", seen);
    case NockingPointVerdict::level:
      return fmt::format("nocking point level: {}", seen);
    case NockingPointVerdict::unclear:
      break;
  }
  return fmt::format(
      "nocking point unclear: {} {}", seen,
      leaning(vert_deg, options.dead_band_deg, "low", "level", "high",
              options.cant_decides ? "the cant of the bow, which was not told, decides"
                                   : "the mean of several shots would settle it"));
}

bool differ(const Measured& told_deg, const Measured& pictured_deg, const JudgeOptions& options) {
  return side_of(told_deg, options.dead_band_deg) != side_of(pictured_deg, options.dead_band_deg);
}

std::string by_either_cant(const std::string& told, const std::string& pictured) {
  return fmt::format("{} by the cant told, {} by the one in the picture", told, pictured);
}

Verdict no_verdict(const std::string& reason) {
  Verdict verdict;
  verdict.summary =
      fmt::format("No verdict: {}", reason.empty() ? "the offsets were not measured." : reason);
  return verdict;
}

double near_end(const Measured& offset_deg) {
  return std::abs(offset_deg.value) - offset_deg.u95;
}

void add_cautions(Verdict& verdict, const BowFrameReading& turned, const Bow& bow,
                  const std::optional<Measured>& seen_cant_deg, const JudgeOptions& options) {
  if (leans_the_other_way(bow) && bow.source == BowSource::told) {
    verdict.cautions.push_back(fmt::format(
        "The cant told leans to the shooter's {}, which a {}-handed archer hardly ever does: look "
        "at its sign (positive: the upper limb to the right).",
        bow.cant_deg.value < 0.0 ? "left" : "right",
        options.hand == Hand::left ? "left" : "right"));
  }
  if (at_odds(bow, seen_cant_deg)) {
    verdict.cautions.push_back(fmt::format(
        "The cant told, {:+.0f} deg, is not what the picture shows: {:+.0f} ± {:.0f} deg "
        "(positive: "
        "the upper limb to the shooter's right). The told one was used; look which is right.",
        bow.cant_deg.value, seen_cant_deg->value, seen_cant_deg->u95));
  }
  if (!options.fletched) {
    if (verdict.spine == SpineVerdict::weak) {
      verdict.cautions.emplace_back(caution::kWeak);
    }
    if (near_end(turned.lat_deg) > kBadMismatch_deg ||
        near_end(turned.vert_deg) > kBadMismatch_deg) {
      verdict.cautions.emplace_back(caution::kBare);
    }
  }
  verdict.cautions.emplace_back(caution::kShaft);
  verdict.cautions.emplace_back(caution::kRange);
}

// What the next shot shares of the errors, in the frame of the bow: of the cant all, where it was
// told or assumed; one that was seen is seen anew.
std::optional<SharedError> shared_in_bow(const Shot& shot) {
  if (!shot.shared) {
    return std::nullopt;
  }
  const Measured right{shot.nock_right_deg->value, shot.shared->right_u95_deg};
  const Measured high{shot.nock_high_deg->value, shot.shared->high_u95_deg};
  const Measured cant{shot.bow->cant_deg.value,
                      shot.bow->source == BowSource::seen ? 0.0 : shot.bow->cant_deg.u95};
  const BowFrameReading turned = bow_frame_from_range(right, high, shot.shared->correlation, cant);
  return SharedError{turned.lat_deg.u95, turned.vert_deg.u95, turned.correlation};
}

// Filmed from the side, a lone shot says how high its nock trails against plumb. What the bow makes
// of it hangs on its cant and on the offset to the side, of which nothing is seen from there.
void judge_from_side(Shot& shot, const JudgeOptions& options) {
  const Measured unseen_right{0.0, kUsualLateralU95_deg};
  const Bow bow = bow_as_known(options.hand, options.cant_deg, std::nullopt);
  const BowFrameReading turned =
      bow_frame_from_range(unseen_right, *shot.nock_high_deg, 0.0, bow.cant_deg);
  const Measured vert{turned.vert_deg.value, turned.vert_deg.u95};
  shot.verdict = Verdict{};
  if (!usable(vert)) {
    shot.verdict = no_verdict({});
    return;
  }
  shot.verdict.nocking_point = nocking_point_of(side_of(vert, options.dead_band_deg));
  const std::string seen = vertical_words(*shot.nock_high_deg);
  switch (shot.verdict.nocking_point) {
    case NockingPointVerdict::unclear:
      shot.verdict.summary = fmt::format(
          "Filmed from the side, which says nothing of spine; nocking point unclear: {} against "
          "plumb, but what that is to a canted bow hangs on the offset to the side.",
          seen);
      break;
    default:
      shot.verdict.summary =
          fmt::format("Filmed from the side, which says nothing of spine; {}.",
                      nocking_point_clause(shot.verdict.nocking_point, vert, options));
  }
  Evidence evidence;
  evidence.vert_deg = *shot.nock_high_deg;
  evidence.fletched = options.fletched;
  evidence.bare = options.bare;
  if (const auto stop = stop_for_mismatch(evidence)) {
    shot.verdict.step = stop->step;
    shot.verdict.next_step = stop->words + " " + stop->because;
    shot.verdict.cautions.emplace_back(caution::kShaft);
    shot.verdict.cautions.emplace_back(caution::kBeside);
    return;
  }
  shot.verdict.step = StepKind::film_more;
  shot.verdict.next_step =
      "Film shots of the same set-up from behind, too, and have all of them read as one session: "
      "together they tell spine and nocking point.";
  if (!options.fletched && near_end(vert) > kBadMismatch_deg) {
    shot.verdict.cautions.emplace_back(caution::kBare);
  }
  shot.verdict.cautions.emplace_back(caution::kShaft);
  shot.verdict.cautions.emplace_back(caution::kBeside);
}

}  // namespace

Side side_of(const Measured& offset_deg, double dead_band_deg) {
  if (!usable(offset_deg)) {
    return Side::unclear;
  }
  const double low = offset_deg.value - offset_deg.u95;
  const double high = offset_deg.value + offset_deg.u95;
  if (high < -dead_band_deg) {
    return Side::negative;
  }
  if (low > dead_band_deg) {
    return Side::positive;
  }
  return low >= -dead_band_deg && high <= dead_band_deg ? Side::straight : Side::unclear;
}

Verdict judge(const Measured& lat_deg, const Measured& vert_deg, const JudgeOptions& options) {
  if (!usable(lat_deg) || !usable(vert_deg)) {
    return no_verdict({});
  }
  Verdict verdict;
  std::string spine;
  std::string nocking_point;
  if (options.as_pictured && options.hand != Hand::unknown &&
      differ(lat_deg, options.as_pictured->lat_deg, options)) {
    spine = fmt::format(
        "Spine unclear: {}",
        by_either_cant(lateral_words(lat_deg), lateral_words(options.as_pictured->lat_deg)));
  } else {
    verdict.spine = spine_of(side_of(lat_deg, options.dead_band_deg), options.hand);
    spine = spine_clause(verdict.spine, lat_deg, options);
  }
  if (options.as_pictured && differ(vert_deg, options.as_pictured->vert_deg, options)) {
    nocking_point = fmt::format(
        "nocking point unclear: {}",
        by_either_cant(vertical_words(vert_deg), vertical_words(options.as_pictured->vert_deg)));
  } else {
    verdict.nocking_point = nocking_point_of(side_of(vert_deg, options.dead_band_deg));
    nocking_point = nocking_point_clause(verdict.nocking_point, vert_deg, options);
  }
  verdict.summary = fmt::format("{}; {}.", spine, nocking_point);
  return verdict;
}

void judge_shot(Shot& shot, const JudgeOptions& options) {
  shot.bow.reset();
  shot.in_bow.reset();
  if (shot.status == ShotStatus::measured && shot.view == View::side && shot.nock_high_deg) {
    judge_from_side(shot, options);
    return;
  }
  if (shot.status != ShotStatus::measured || !shot.nock_right_deg || !shot.nock_high_deg) {
    shot.verdict = no_verdict(shot.reason);
    if (stands_across(shot)) {
      shot.verdict.step = StepKind::do_not_shoot_arrow;
      shot.verdict.next_step = kStopAcross;
    }
    return;
  }
  shot.bow = bow_as_known(options.hand, options.cant_deg, shot.cant_seen_deg);
  const BowFrameReading turned = bow_frame_from_range(
      *shot.nock_right_deg, *shot.nock_high_deg, shot.right_high_correlation, shot.bow->cant_deg);
  shot.in_bow = InBow{shot.bow->cant_deg.value, turned.lat_deg, turned.vert_deg, turned.correlation,
                      shared_in_bow(shot)};
  JudgeOptions told = options;
  const std::optional<Bow> at_odds_with_hand = against_hand(*shot.bow, shot.cant_seen_deg);
  if (at_odds_with_hand) {
    told.hand = Hand::unknown;
    told.hand_doubted = true;
  }
  told.cant_decides = hangs_on_cant(shot.nock_right_deg->value, shot.nock_high_deg->value,
                                    *shot.bow, options.dead_band_deg);
  if (at_odds(*shot.bow, shot.cant_seen_deg)) {
    told.as_pictured = bow_frame_from_range(*shot.nock_right_deg, *shot.nock_high_deg,
                                            shot.right_high_correlation, *shot.cant_seen_deg);
  }
  shot.verdict = judge(turned.lat_deg, turned.vert_deg, told);
  if (!usable(turned.lat_deg) || !usable(turned.vert_deg)) {
    return;
  }
  Evidence evidence;
  evidence.shots = 1;
  evidence.lat_deg = turned.lat_deg;
  evidence.vert_deg = turned.vert_deg;
  evidence.hand = told.hand;
  evidence.at_odds = at_odds_with_hand;
  if (told.as_pictured) {
    evidence.denied_cant =
        DeniedCant{shot.bow->cant_deg.value, *shot.cant_seen_deg, *told.as_pictured};
  }
  evidence.fletched = options.fletched;
  evidence.bare = options.bare;
  evidence.dead_band_deg = options.dead_band_deg;
  evidence.hangs_on_cant = told.cant_decides;
  evidence.how_to_tell_hand = "--hand right or --hand left";
  evidence.how_to_tell_cant = "--cant DEG";
  // With one shot there is always something to do before a change.
  const Asked asked = before_change(evidence).value_or(Asked{});
  shot.verdict.step = asked.step;
  shot.verdict.next_step = asked.words + " " + asked.because;
  add_cautions(shot.verdict, turned, *shot.bow, shot.cant_seen_deg, options);
}

}  // namespace nocktrail::rules
