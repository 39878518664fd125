#include "nocktrail/rules/rules.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "next_step.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::rules {
namespace {

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
                    const char* straight, const char* positive) {
  const bool below = offset_deg.value < 0.0;
  if (std::abs(offset_deg.value) <= band) {
    return fmt::format(
        "leans {} but the interval reaches beyond the dead band of ±{:g} deg, and the mean of "
        "several shots would settle it",
        straight, band);
  }
  const bool crosses_zero = std::abs(offset_deg.value) <= offset_deg.u95;
  return fmt::format(
      "leans {} but the interval reaches {}, and the mean of several shots would "
      "settle it",
      below ? negative : positive,
      crosses_zero ? "across straight to the other side"
                   : fmt::format("into the dead band of ±{:g} deg", band));
}

std::string spine_clause(SpineVerdict spine, const Measured& lat_deg, const JudgeOptions& options) {
  const std::string seen = lateral_words(lat_deg);
  if (options.hand == Hand::unknown) {
    const Side side = side_of(lat_deg, options.dead_band_deg);
    if (side == Side::straight) {
      return fmt::format(
          "Spine unclear without the archer's hand: {}, straight, would be matched "
          "for a right-handed and for a left-handed archer",
          seen);
    }
    const bool left = lat_deg.value < 0.0;
    return fmt::format(
        "Spine unclear without the archer's hand: {} {} {} for a right-handed "
        "archer and {} for a left-handed one",
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
                                 double band) {
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
  return fmt::format("nocking point unclear: {} {}", seen,
                     leaning(vert_deg, band, "low", "level", "high"));
}

Verdict no_verdict(const std::string& reason) {
  Verdict verdict;
  verdict.summary =
      fmt::format("No verdict: {}", reason.empty() ? "the offsets were not measured." : reason);
  return verdict;
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

BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, double cant_deg) {
  const double cant_rad = units::rad_from_deg(cant_deg);
  Eigen::Matrix2d bow_from_range;
  bow_from_range << std::cos(cant_rad), -std::sin(cant_rad),  //
      std::sin(cant_rad), std::cos(cant_rad);
  const Eigen::Vector2d range_deg(nock_right_deg.value, nock_high_deg.value);
  const double cross = std::clamp(correlation, -1.0, 1.0) * nock_right_deg.u95 * nock_high_deg.u95;
  Eigen::Matrix2d range_spread;
  range_spread << nock_right_deg.u95 * nock_right_deg.u95, cross,  //
      cross, nock_high_deg.u95 * nock_high_deg.u95;
  const Eigen::Vector2d bow_deg = bow_from_range * range_deg;
  const Eigen::Matrix2d bow_spread = bow_from_range * range_spread * bow_from_range.transpose();

  BowFrameReading bow;
  // Rounding may leave a spread of nothing a hair below zero.
  bow.lat_deg = {bow_deg.x(), std::sqrt(std::max(bow_spread(0, 0), 0.0))};
  bow.vert_deg = {bow_deg.y(), std::sqrt(std::max(bow_spread(1, 1), 0.0))};
  const double scale = bow.lat_deg.u95 * bow.vert_deg.u95;
  bow.correlation = scale > 0.0 ? std::clamp(bow_spread(0, 1) / scale, -1.0, 1.0) : 0.0;
  return bow;
}

Verdict judge(const Measured& lat_deg, const Measured& vert_deg, const JudgeOptions& options) {
  if (!usable(lat_deg) || !usable(vert_deg)) {
    return no_verdict({});
  }
  Verdict verdict;
  verdict.spine = spine_of(side_of(lat_deg, options.dead_band_deg), options.hand);
  verdict.nocking_point = nocking_point_of(side_of(vert_deg, options.dead_band_deg));
  verdict.summary =
      fmt::format("{}; {}.", spine_clause(verdict.spine, lat_deg, options),
                  nocking_point_clause(verdict.nocking_point, vert_deg, options.dead_band_deg));
  add_next_step(verdict, lat_deg, vert_deg, options);
  return verdict;
}

void judge_shot(Shot& shot, const JudgeOptions& options) {
  shot.in_bow.reset();
  if (shot.status != ShotStatus::measured || !shot.nock_right_deg || !shot.nock_high_deg) {
    shot.verdict = no_verdict(shot.reason);
    return;
  }
  Measured lat_deg = *shot.nock_right_deg;
  Measured vert_deg = *shot.nock_high_deg;
  if (options.cant_deg) {
    const BowFrameReading bow =
        bow_frame_from_range(lat_deg, vert_deg, shot.right_high_correlation, *options.cant_deg);
    lat_deg = bow.lat_deg;
    vert_deg = bow.vert_deg;
    shot.in_bow = InBow{*options.cant_deg, lat_deg, vert_deg};
  }
  shot.verdict = judge(lat_deg, vert_deg, options);
}

}  // namespace nocktrail::rules
