#include "nocktrail/rules/cant.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "nocktrail/units/units.hpp"

namespace nocktrail::rules {
namespace {

constexpr double kSigmasPerU95 = 1.959964;

BowFrameReading reading_of(const Eigen::Vector2d& value_deg, const Eigen::Matrix2d& u95_spread) {
  BowFrameReading bow;
  // Rounding may leave a spread of nothing a hair below zero.
  bow.lat_deg = {value_deg.x(), std::sqrt(std::max(u95_spread(0, 0), 0.0))};
  bow.vert_deg = {value_deg.y(), std::sqrt(std::max(u95_spread(1, 1), 0.0))};
  const double scale = bow.lat_deg.u95 * bow.vert_deg.u95;
  bow.correlation = scale > 0.0 ? std::clamp(u95_spread(0, 1) / scale, -1.0, 1.0) : 0.0;
  return bow;
}

Eigen::Matrix2d spread_of(const Measured& right, const Measured& high, double correlation) {
  const double cross = std::clamp(correlation, -1.0, 1.0) * right.u95 * high.u95;
  Eigen::Matrix2d spread;
  spread << right.u95 * right.u95, cross, cross, high.u95 * high.u95;
  return spread;
}

Eigen::Matrix2d bow_from_range(double cant_rad) {
  Eigen::Matrix2d turn;
  turn << std::cos(cant_rad), -std::sin(cant_rad),  //
      std::sin(cant_rad), std::cos(cant_rad);
  return turn;
}

}  // namespace

Bow bow_as_known(Hand hand, const std::optional<double>& told_cant_deg,
                 const std::optional<Measured>& seen_cant_deg, const CantPrior& prior) {
  Bow bow;
  bow.hand = hand;
  if (told_cant_deg && std::isfinite(*told_cant_deg)) {
    bow.cant_deg = {*told_cant_deg, kSigmasPerU95 * prior.told_sd_deg};
    bow.source = BowSource::told;
    return bow;
  }
  if (seen_cant_deg && std::isfinite(seen_cant_deg->value) && std::isfinite(seen_cant_deg->u95)) {
    bow.cant_deg = *seen_cant_deg;
    bow.source = BowSource::seen;
    return bow;
  }
  bow.source = BowSource::assumed;
  bow.cant_deg = hand == Hand::unknown
                     ? Measured{0.0, kSigmasPerU95 * prior.either_sd_deg}
                     : Measured{hand == Hand::right ? prior.lean_deg : -prior.lean_deg,
                                kSigmasPerU95 * prior.lean_sd_deg};
  return bow;
}

bool at_odds(const Bow& told, const std::optional<Measured>& seen_cant_deg) {
  return told.source == BowSource::told && seen_cant_deg &&
         std::abs(told.cant_deg.value - seen_cant_deg->value) >
             std::hypot(told.cant_deg.u95, seen_cant_deg->u95);
}

bool leans_the_other_way(const Bow& bow) {
  return (bow.hand == Hand::right && bow.cant_deg.value < -bow.cant_deg.u95) ||
         (bow.hand == Hand::left && bow.cant_deg.value > bow.cant_deg.u95);
}

bool hand_at_odds(const Bow& bow) {
  return bow.source == BowSource::seen && leans_the_other_way(bow);
}

std::optional<Bow> against_hand(const Bow& bow, const std::optional<Measured>& seen_cant_deg) {
  if (hand_at_odds(bow)) {
    return bow;
  }
  if (!at_odds(bow, seen_cant_deg)) {
    return std::nullopt;
  }
  const Bow seen{*seen_cant_deg, bow.hand, BowSource::seen};
  return hand_at_odds(seen) ? std::optional<Bow>(seen) : std::nullopt;
}

BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, double cant_deg) {
  const Eigen::Matrix2d turn = bow_from_range(units::rad_from_deg(cant_deg));
  return reading_of(
      turn * Eigen::Vector2d(nock_right_deg.value, nock_high_deg.value),
      turn * spread_of(nock_right_deg, nock_high_deg, correlation) * turn.transpose());
}

BowFrameReading bow_frame_from_range(const Measured& nock_right_deg, const Measured& nock_high_deg,
                                     double correlation, const Measured& cant_deg) {
  const double mean_rad = units::rad_from_deg(cant_deg.value);
  const double sd_rad = units::rad_from_deg(cant_deg.u95 / kSigmasPerU95);
  const double once = std::exp(-0.5 * sd_rad * sd_rad);
  const double twice = std::exp(-2.0 * sd_rad * sd_rad);
  const Eigen::Vector2d range_deg(nock_right_deg.value, nock_high_deg.value);
  const Eigen::Vector2d bow_deg = bow_from_range(mean_rad) * range_deg;
  const Eigen::Matrix2d second =
      spread_of(nock_right_deg, nock_high_deg, correlation) / (kSigmasPerU95 * kSigmasPerU95) +
      range_deg * range_deg.transpose();
  const double cos_cos = 0.5 * (1.0 + twice * std::cos(2.0 * mean_rad));
  const double sin_sin = 0.5 * (1.0 - twice * std::cos(2.0 * mean_rad));
  const double sin_cos = 0.5 * twice * std::sin(2.0 * mean_rad);
  const double cross = (second(0, 0) - second(1, 1)) * sin_cos + second(0, 1) * (cos_cos - sin_sin);
  Eigen::Matrix2d turned;
  turned << second(0, 0) * cos_cos - 2.0 * second(0, 1) * sin_cos + second(1, 1) * sin_sin, cross,
      cross, second(0, 0) * sin_sin + 2.0 * second(0, 1) * sin_cos + second(1, 1) * cos_cos;
  const Eigen::Matrix2d about = turned - (2.0 * once - 1.0) * bow_deg * bow_deg.transpose();
  return reading_of(bow_deg, kSigmasPerU95 * kSigmasPerU95 * about);
}

BowFrameReading cant_alone(double nock_right_deg, double nock_high_deg, const Measured& cant_deg) {
  return bow_frame_from_range({nock_right_deg, 0.0}, {nock_high_deg, 0.0}, 0.0, cant_deg);
}

}  // namespace nocktrail::rules
