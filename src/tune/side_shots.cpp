#include "side_shots.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/units/units.hpp"
#include "seen_cants.hpp"

namespace nocktrail::tune {
namespace {

bool from_side(const Shot& shot) {
  return shot.status == ShotStatus::measured && shot.view == View::side && shot.nock_high_deg &&
         std::isfinite(shot.nock_high_deg->value) && shot.nock_high_deg->u95 > 0.0;
}

}  // namespace

void gather_side_shots(const SetupRecord& setup, const SetupFacts& facts,
                       SetupJudgement& judgement) {
  const SeenCants seen = seen_cants(setup);
  for (const ClipRecord& clip : setup.clips) {
    int number = 0;
    for (const Shot& shot : clip.reading.shots) {
      ++number;
      if (!from_side(shot)) {
        continue;
      }
      SideShot side;
      side.clip = number == 1 ? clip.file : fmt::format("{}#{}", clip.file, number);
      side.high_deg = *shot.nock_high_deg;
      constexpr double kHalf = 0.5;  // of the variance, where a reading does not say
      side.shared_u95_deg =
          shot.shared ? shot.shared->high_u95_deg : std::sqrt(kHalf) * side.high_deg.u95;
      const std::optional<double> told = clip.cant_deg ? clip.cant_deg : facts.cant_deg;
      side.cant_deg = bow_of(shot, facts.hand, told, seen).cant_deg.value;
      const std::optional<std::string> dropped = why_dropped(clip, number, facts.hand);
      side.dropped = dropped.has_value();
      side.why = dropped.value_or("");
      judgement.side_shots.push_back(std::move(side));
    }
  }
}

int counted_from_side(const SetupJudgement& judgement) {
  return static_cast<int>(std::count_if(judgement.side_shots.begin(), judgement.side_shots.end(),
                                        [](const SideShot& shot) { return !shot.dropped; }));
}

bool join_side_shots(SetupJudgement& judgement, const ScatterPrior& scatter) {
  if (!judgement.lateral || !judgement.vertical || counted_from_side(judgement) == 0) {
    return false;
  }
  const OffsetSummary& lateral = *judgement.lateral;
  std::vector<double> values;
  std::vector<double> u;
  std::vector<double> shared;
  for (SideShot& shot : judgement.side_shots) {
    const double cant_rad = units::rad_from_deg(shot.cant_deg);
    const double cosine = std::cos(cant_rad);
    constexpr double kLeastCosine = 0.5;  // a bow held flat: up and down is then its side to side
    if (cosine < kLeastCosine) {
      continue;
    }
    const double by_lateral = std::abs(std::tan(cant_rad)) * lateral.u95_deg;
    shot.vert_deg = Measured{(shot.high_deg.value + lateral.mean_deg * std::sin(cant_rad)) / cosine,
                             std::hypot(shot.high_deg.u95 / cosine, by_lateral)};
    if (!shot.dropped) {
      values.push_back(shot.vert_deg->value);
      u.push_back(shot.vert_deg->u95 / kSigmasPerU95);
      shared.push_back(std::hypot(shot.shared_u95_deg / cosine, by_lateral) / kSigmasPerU95);
    }
  }
  if (values.empty()) {
    return false;
  }
  const RobustMean mean = robust_mean(values, u, scatter, shared);
  OffsetSummary& behind = *judgement.vertical;
  const double side_u95 = mean.u95();
  const double weight_side = 1.0 / (side_u95 * side_u95);
  const double weight_behind = 1.0 / (behind.u95_deg * behind.u95_deg);
  const double both = weight_side + weight_behind;
  // As far apart as this they are not of one thing: a picture that is mirrored or tilted, a phone
  // far above or below the arrow, arrows that are not alike (Birge's ratio of two means).
  const double apart = std::abs(mean.mean - behind.mean_deg) / std::hypot(side_u95, behind.u95_deg);
  const double widen = std::max(1.0, apart);
  if (apart > 1.0) {
    judgement.warnings.push_back(fmt::format(
        "Up and down, the shots from the side ({:+.1f} ± {:.1f} deg) and those from behind "
        "({:+.1f} ± {:.1f}) do not agree: look whether the phone stood level and at the arrow's "
        "height, and whether the arrows are alike.",
        mean.mean, side_u95, behind.mean_deg, behind.u95_deg));
  }
  OffsetSummary joined = behind;
  joined.mean_deg = (weight_side * mean.mean + weight_behind * behind.mean_deg) / both;
  joined.u95_deg = widen / std::sqrt(both);
  joined.lasting_u95_deg =
      std::min(joined.u95_deg, widen *
                                   std::hypot(weight_side * kSigmasPerU95 * mean.lasting_u,
                                              weight_behind * behind.lasting_u95_deg) /
                                   both);
  joined.elsewhere_u95_deg = std::min(joined.lasting_u95_deg,
                                      widen *
                                          std::hypot(weight_side * kSigmasPerU95 * mean.elsewhere_u,
                                                     weight_behind * behind.elsewhere_u95_deg) /
                                          both);
  joined.scatter_deg = values.size() >= 3 ? mean.scatter : behind.scatter_deg;
  joined.freedom = behind.freedom + mean.freedom;
  behind = joined;
  return apart > 1.0;
}

}  // namespace nocktrail::tune
