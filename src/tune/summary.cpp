#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/cant.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/statistics.hpp"
#include "places.hpp"
#include "seen_cants.hpp"
#include "setup_view.hpp"
#include "side_shots.hpp"

namespace nocktrail::tune {
namespace {

// Practised archers of the trade, no source: what stands in for an archer's scatter until the
// session's own set-ups tell.
constexpr ScatterPrior kUsualScatter{0.6, 2.0};
constexpr double kMostPooledFreedom = 6.0;
constexpr int kFewShots = 4;

Hand settled_hand(const SetupRecord& setup) {
  if (setup.facts.hand != Hand::unknown) {
    return setup.facts.hand;
  }
  Hand found = Hand::unknown;
  for (const ClipRecord& clip : setup.clips) {
    if (clip.hand != Hand::unknown) {
      if (found != Hand::unknown && found != clip.hand) {
        return Hand::unknown;
      }
      found = clip.hand;
    }
  }
  return found;
}

// Where a reading does not say which part of its error the next one shares: half of the variance.
SharedError shared_of(const Shot& shot) {
  if (shot.shared) {
    return *shot.shared;
  }
  constexpr double kHalf = 0.5;
  return {std::sqrt(kHalf) * shot.nock_right_deg->u95, std::sqrt(kHalf) * shot.nock_high_deg->u95,
          shot.right_high_correlation};
}

JudgedShot in_bow_frame(const Shot& shot, const Bow& bow) {
  const Measured& right = *shot.nock_right_deg;
  const Measured& high = *shot.nock_high_deg;
  const SharedError shared = shared_of(shot);
  const rules::BowFrameReading whole =
      rules::bow_frame_from_range(right, high, shot.right_high_correlation, bow.cant_deg);
  const rules::BowFrameReading own =
      rules::bow_frame_from_range(right, high, shot.right_high_correlation, bow.cant_deg.value);
  const rules::BowFrameReading alike = rules::bow_frame_from_range(
      {right.value, shared.right_u95_deg}, {high.value, shared.high_u95_deg}, shared.correlation,
      bow.cant_deg.value);
  JudgedShot judged;
  judged.shared_lat_u95_deg = alike.lat_deg.u95;
  judged.shared_vert_u95_deg = alike.vert_deg.u95;
  judged.lat_deg = whole.lat_deg;
  judged.vert_deg = whole.vert_deg;
  judged.own_lat_u95_deg = own.lat_deg.u95;
  judged.own_vert_u95_deg = own.vert_deg.u95;
  judged.correlation = whole.correlation;
  return judged;
}

void gather_shots(const SetupRecord& setup, const SetupFacts& facts, SetupJudgement& judgement) {
  const Hand hand = facts.hand;
  const SeenCants seen = seen_cants(setup);
  warn_of_cants(seen, judgement.warnings);
  judgement.bow = rules::bow_as_known(hand, facts.cant_deg, seen.usual);
  std::vector<const FilmedFrom*> filmed_from;
  int bows = 0;
  for (const ClipRecord& clip : setup.clips) {
    int of_clip = 0;
    int number = 0;
    if (judgement.across.empty() && clip.dropped.empty() && !clip.forbade.empty()) {
      judgement.across = fmt::format("{}: {}", rules::printable(clip.file), clip.forbade);
    }
    for (const Shot& shot : clip.reading.shots) {
      ++number;
      of_clip += shot.status == ShotStatus::measured && shot.view == View::side ? 1 : 0;
      const std::optional<std::string> dropped = why_dropped(clip, number, hand);
      if (!dropped && judgement.across.empty() && rules::stands_across(shot)) {
        judgement.across = fmt::format("{}: {}", rules::printable(clip.file), shot.reason);
      }
      if (shot.status != ShotStatus::measured || !usable(shot.nock_right_deg) ||
          !usable(shot.nock_high_deg)) {
        continue;
      }
      ++of_clip;
      const std::optional<double> cant = clip.cant_deg ? clip.cant_deg : facts.cant_deg;
      const Bow bow = bow_of(shot, hand, cant, seen);
      JudgedShot judged = in_bow_frame(shot, bow);
      judged.clip = number == 1 ? clip.file : fmt::format("{}#{}", clip.file, number);
      judged.dropped = dropped.has_value();
      judged.why = dropped.value_or("");
      // One that is assumed decides for the set-up: the others say nothing of it.
      if (!judged.dropped && (bows == 0 || bow.source == BowSource::assumed)) {
        judgement.bow = bow;
      }
      bows += judged.dropped ? 0 : 1;
      judgement.shots.push_back(std::move(judged));
      if (!judgement.shots.back().dropped) {
        filmed_from.push_back(shot.filmed_from ? &*shot.filmed_from : nullptr);
      }
    }
    if (of_clip == 0) {
      ++judgement.refused;
    }
  }
  const std::vector<int> places = places_of(filmed_from);
  auto place = places.begin();
  for (JudgedShot& shot : judgement.shots) {
    shot.place = shot.dropped ? 0 : *place++;
  }
  if (judgement.bow.source == BowSource::seen && seen.usual) {
    judgement.bow.cant_deg = {seen.usual->value, seen.u95_deg};  // of all, not of the first
  }
  judgement.counted =
      static_cast<int>(std::count_if(judgement.shots.begin(), judgement.shots.end(),
                                     [](const JudgedShot& shot) { return !shot.dropped; }));
}

struct Columns {
  std::vector<double> value;
  std::vector<double> u;
  std::vector<double> shared;  // of u
  std::vector<int> place;
};

Columns columns_of(const SetupJudgement& judgement, Measured JudgedShot::*offset) {
  const bool lateral = offset == &JudgedShot::lat_deg;
  double JudgedShot::*own_u95 =
      lateral ? &JudgedShot::own_lat_u95_deg : &JudgedShot::own_vert_u95_deg;
  double JudgedShot::*shared_u95 =
      lateral ? &JudgedShot::shared_lat_u95_deg : &JudgedShot::shared_vert_u95_deg;
  Columns columns;
  for (const JudgedShot& shot : judgement.shots) {
    if (!shot.dropped) {
      columns.value.push_back((shot.*offset).value);
      columns.u.push_back(shot.*own_u95 / kSigmasPerU95);
      columns.shared.push_back(shot.*shared_u95 / kSigmasPerU95);
      columns.place.push_back(shot.place);
    }
  }
  return columns;
}

// The scatter of the session's other set-ups, with common practice as a grain of salt.
ScatterPrior pooled_scatter(const std::vector<RobustMean>& own, std::size_t without) {
  double freedom = 0.0;
  double sum = 0.0;
  for (std::size_t i = 0; i < own.size(); ++i) {
    if (i != without && own[i].weights.size() >= 2) {
      const double each = static_cast<double>(own[i].weights.size()) - 1.0;
      freedom += each;
      sum += each * own[i].scatter * own[i].scatter;
    }
  }
  ScatterPrior prior = kUsualScatter;
  if (freedom > 0.0) {
    const double pooled = std::min(freedom, kMostPooledFreedom);
    const double variance =
        (pooled * sum / freedom + kUsualScatter.freedom * kUsualScatter.sd * kUsualScatter.sd) /
        (pooled + kUsualScatter.freedom);
    prior = {std::sqrt(variance), pooled + kUsualScatter.freedom};
  }
  return prior;
}

std::vector<std::optional<OffsetSummary>> summaries_of(std::vector<SetupView>& setups,
                                                       Measured JudgedShot::*offset,
                                                       const char* direction) {
  std::vector<Columns> columns;
  std::vector<RobustMean> own;
  for (const SetupView& setup : setups) {
    columns.push_back(columns_of(setup.judgement, offset));
    own.push_back(robust_mean(columns.back().value, columns.back().u, kUsualScatter,
                              columns.back().shared, columns.back().place));
  }
  std::vector<std::optional<OffsetSummary>> summaries(setups.size());
  for (std::size_t i = 0; i < setups.size(); ++i) {
    if (columns[i].value.empty()) {
      continue;
    }
    const RobustMean mean = robust_mean(columns[i].value, columns[i].u, pooled_scatter(own, i),
                                        columns[i].shared, columns[i].place);
    summaries[i] = OffsetSummary{mean.mean,
                                 mean.u95(),
                                 mean.scatter,
                                 mean.freedom,
                                 0.0,
                                 kSigmasPerU95 * mean.lasting_u,
                                 kSigmasPerU95 * mean.elsewhere_u};
    std::size_t at = 0;
    for (JudgedShot& shot : setups[i].judgement.shots) {
      if (shot.dropped) {
        continue;
      }
      if (std::abs(mean.distance[at]) > kOutlierDistance) {
        shot.outlier = true;
        shot.why +=
            fmt::format("{}{} {:+.1f} deg from the middle of the others",
                        shot.why.empty() ? "" : "; ", direction, (shot.*offset).value - mean.mean);
      }
      ++at;
    }
  }
  return summaries;
}

// What is not known of the cant moves all shots of the set-up alike.
void add_cant(SetupJudgement& judgement) {
  if (!judgement.lateral || !judgement.vertical) {
    return;
  }
  const rules::BowFrameReading alone = rules::cant_alone(
      judgement.lateral->mean_deg, judgement.vertical->mean_deg, {0.0, judgement.bow.cant_deg.u95});
  const auto widen = [](OffsetSummary& offset, double cant_u95_deg) {
    offset.cant_u95_deg = cant_u95_deg;
    offset.u95_deg = std::hypot(offset.u95_deg, cant_u95_deg);
    offset.lasting_u95_deg = std::hypot(offset.lasting_u95_deg, cant_u95_deg);
  };
  widen(*judgement.lateral, alone.lat_deg.u95);
  widen(*judgement.vertical, alone.vert_deg.u95);
}

double correlation_of(const SetupJudgement& judgement) {
  const Columns lat = columns_of(judgement, &JudgedShot::lat_deg);
  const Columns vert = columns_of(judgement, &JudgedShot::vert_deg);
  const std::size_t n = lat.value.size();
  if (n < 3) {
    return 0.0;
  }
  double mean_x = 0.0;
  double mean_y = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    mean_x += lat.value[i] / static_cast<double>(n);
    mean_y += vert.value[i] / static_cast<double>(n);
  }
  double xx = 0.0;
  double yy = 0.0;
  double xy = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    xx += (lat.value[i] - mean_x) * (lat.value[i] - mean_x);
    yy += (vert.value[i] - mean_y) * (vert.value[i] - mean_y);
    xy += (lat.value[i] - mean_x) * (vert.value[i] - mean_y);
  }
  return xx > 0.0 && yy > 0.0 ? std::clamp(xy / std::sqrt(xx * yy), -1.0, 1.0) : 0.0;
}

void add_verdict(SetupView& setup, const JudgementOptions& options) {
  SetupJudgement& judgement = setup.judgement;
  const int from_side = counted_from_side(judgement);
  if (!counted(setup)) {
    judgement.summary = from_side > 0 ? fmt::format(
                                            "{} shot{} from the side and none from behind: those "
                                            "tell of spine, and how the bow was held.",
                                            from_side, from_side == 1 ? "" : "s")
                        : judgement.refused > 0
                            ? fmt::format("No shot counted: {} clip{} without a number.",
                                          judgement.refused, judgement.refused == 1 ? "" : "s")
                            : "No shots yet.";
    return;
  }
  const Measured lat{judgement.lateral->mean_deg, judgement.lateral->u95_deg};
  const Measured vert{judgement.vertical->mean_deg, judgement.vertical->u95_deg};
  rules::JudgeOptions judge;
  judge.hand = setup.facts.hand;
  judge.dead_band_deg = options.dead_band_deg;
  judge.as_pictured = as_pictured(setup, lat, vert, judgement.correlation);
  const Verdict verdict = rules::judge(lat, vert, judge);
  judgement.spine = verdict.spine;
  judgement.nocking_point = verdict.nocking_point;
  const std::string spine = judge.hand == Hand::unknown ? "spine open until the hand is told"
                            : setup.facts.arrow.fletching == Fletching::fletched
                                ? fmt::format("spine {} as fletched, which the bare shaft decides",
                                              rules::word(verdict.spine))
                                : fmt::format("spine {}", rules::word(verdict.spine));
  judgement.summary = fmt::format(
      "Mean of {} shot{}{}: {}, {}; {}, nocking point {}.", judgement.counted,
      judgement.counted == 1 ? "" : "s",
      from_side > 0 ? fmt::format(" from behind, up and down with {} from the side", from_side)
                    : "",
      rules::lateral_words(lat), spine, rules::vertical_words(vert),
      rules::word(verdict.nocking_point));
}

void add_warnings(SetupView& setup) {
  SetupJudgement& judgement = setup.judgement;
  if (!counted(setup)) {
    return;
  }
  const double scatter = std::max(judgement.lateral->scatter_deg, judgement.vertical->scatter_deg);
  if (judgement.counted < kFewShots) {
    judgement.warnings.push_back(fmt::format(
        "{} shot{} can hardly tell scatter from offset, and an odd one cannot be told at all.",
        judgement.counted, judgement.counted == 1 ? "" : "s"));
  } else if (scatter > kLargeScatter_deg) {
    judgement.warnings.push_back(
        setup.facts.arrow.fletching == Fletching::bare
            ? fmt::format(
                  "The bare shafts scatter by {:.1f} deg from shot to shot: a bare shaft "
                  "shows every fault of the loose, so this is form before it is tune. "
                  "Shoot from close; the scatter is in the interval, and more shots narrow it.",
                  scatter)
            : fmt::format("The shots scatter by {:.1f} deg: look at form first (an even loose, "
                          "the same draw, no torque), and at arrows that are not alike.",
                          scatter));
  }
  const auto outliers = std::count_if(judgement.shots.begin(), judgement.shots.end(),
                                      [](const JudgedShot& shot) { return shot.outlier; });
  if (outliers > 0) {
    judgement.warnings.push_back(fmt::format(
        "{} shot{} from the others: a plucked or collapsed loose, contact, or an unequal "
        "arrow; number the arrows and see whether it is always the same one.",
        outliers, outliers == 1 ? " stands apart" : "s stand apart"));
  }
}

}  // namespace

namespace {

// Takes out what no bow or arrow is, with a warning. Wide: it stops slips of the unit.
void keep(std::optional<double>& told, double low, double high, const char* what,
          std::vector<std::string>& warnings) {
  if (told && !(*told >= low && *told <= high)) {
    told.reset();
    warnings.push_back(fmt::format("The {} told is out of range and left out.", what));
  }
}

void keep_what_can_be(SetupFacts& facts, std::vector<std::string>& warnings) {
  keep(facts.cant_deg, -90.0, 90.0, "cant", warnings);
  keep(facts.draw_m, 0.4, 1.0, "draw length", warnings);
  BowFacts& bow = facts.bow;
  keep(bow.draw_weight_n, 20.0, 900.0, "draw weight", warnings);
  keep(bow.rated_draw_m, 0.4, 1.0, "rated draw length", warnings);
  keep(bow.string_mass_kg, 0.001, 0.05, "string mass", warnings);
  keep(bow.brace_height_m, 0.08, 0.35, "brace height", warnings);
  keep(bow.brace_min_m, 0.08, 0.35, "least brace height", warnings);
  keep(bow.brace_max_m, 0.08, 0.35, "largest brace height", warnings);
  keep(bow.min_grains_per_pound, 1.0, 30.0, "maker's grains per pound", warnings);
  keep(bow.max_draw_m, 0.4, 1.0, "maker's greatest draw", warnings);
  keep(bow.max_draw_weight_n, 20.0, 900.0, "maker's greatest draw weight", warnings);
  keep(bow.plate_offset_m, -0.03, 0.05, "strike plate", warnings);
  keep(bow.nocking_point_m, -0.05, 0.10, "nocking point", warnings);
  ArrowFacts& arrow = facts.arrow;
  keep(arrow.shaft_length_m, 0.4, 1.2, "shaft length", warnings);
  keep(arrow.arrow_length_m, 0.4, 1.3, "arrow length", warnings);
  keep(arrow.diameter_m, 0.002, 0.02, "shaft diameter", warnings);
  keep(arrow.mass_per_length_kg_per_m, 1e-3, 0.1, "shaft mass per length", warnings);
  keep(arrow.tip_mass_kg, 0.0, 0.05, "tip weight", warnings);
  keep(arrow.nock_mass_kg, 0.0, 0.01, "nock mass", warnings);
  keep(arrow.total_mass_kg, 0.005, 0.2, "total mass", warnings);
  if (arrow.spine) {
    std::optional<double> ei = value_of(Quantity::spine, facts);
    keep(ei, 0.5, 50.0, "spine", warnings);
    if (!ei) {
      arrow.spine.reset();
    }
  }
}

}  // namespace

std::optional<rules::BowFrameReading> as_pictured(const SetupView& setup, const Measured& lat_deg,
                                                  const Measured& vert_deg, double correlation) {
  if (!setup.denied_cant_deg) {
    return std::nullopt;
  }
  const rules::BowFrameReading range = rules::bow_frame_from_range(
      lat_deg, vert_deg, correlation, -setup.judgement.bow.cant_deg.value);
  return rules::bow_frame_from_range(range.lat_deg, range.vert_deg, range.correlation,
                                     *setup.denied_cant_deg);
}

std::optional<std::string> why_dropped(const ClipRecord& clip, int number, Hand hand) {
  if (!clip.dropped.empty()) {
    return clip.dropped;
  }
  const auto dropped = clip.dropped_shots.find(number);
  if (dropped != clip.dropped_shots.end()) {
    return dropped->second;
  }
  if (const auto same = clip.same_as.find(number); same != clip.same_as.end()) {
    return same->second;
  }
  if (clip.hand == Hand::unknown || hand == Hand::unknown || clip.hand == hand) {
    return std::nullopt;
  }
  const auto word = [](Hand which) { return which == Hand::left ? "left" : "right"; };
  return fmt::format("shot {}-handed, the set-up is {}-handed", word(clip.hand), word(hand));
}

std::optional<double> value_of(Quantity quantity, const SetupFacts& facts) {
  switch (quantity) {
    case Quantity::shaft_length:
      // With the point left as it is, the whole arrow's length changes alike.
      return facts.arrow.shaft_length_m ? facts.arrow.shaft_length_m : facts.arrow.arrow_length_m;
    case Quantity::tip_mass:
      return facts.arrow.tip_mass_kg;
    case Quantity::nocking_point:
      return facts.bow.nocking_point_m;
    case Quantity::brace_height:
      return facts.bow.brace_height_m;
    case Quantity::plate_offset:
      return facts.bow.plate_offset_m;
    case Quantity::spine:
      break;
  }
  if (!facts.arrow.spine || !(facts.arrow.spine->value > 0.0)) {
    return std::nullopt;
  }
  return facts.arrow.spine->convention == SpineConvention::deflection_in
             ? arrow::ei_from_astm_deflection(facts.arrow.spine->value)
             : arrow::ei_from_wood_pounds(facts.arrow.spine->value);
}

std::vector<SetupView> summarised(const SessionRecord& session, const JudgementOptions& options,
                                  std::vector<std::string>& cautions) {
  std::vector<SetupView> setups;
  std::optional<Bow> assumed;
  for (const SetupRecord& record : session.setups) {
    SetupView setup;
    setup.facts = record.facts;
    setup.facts.hand = settled_hand(record);
    setup.judgement.name = record.name;
    keep_what_can_be(setup.facts, setup.judgement.warnings);
    gather_shots(record, setup.facts, setup.judgement);
    gather_side_shots(record, setup.facts, setup.judgement);
    if (setup.judgement.counted > 0) {
      assumed = setup.judgement.bow.source == BowSource::assumed ? setup.judgement.bow : assumed;
      const std::optional<Measured> seen_deg = seen_cants(record).usual;
      setup.against_hand = rules::against_hand(setup.judgement.bow, seen_deg);
      if (rules::at_odds(setup.judgement.bow, seen_deg)) {
        setup.denied_cant_deg = seen_deg;
        setup.judgement.warnings.push_back(fmt::format(
            "The cant told, {:+.0f} deg, is not what the pictures show: {:+.0f} ± {:.0f} deg "
            "(positive: the upper limb to the shooter's right). The told one was used; look which "
            "is "
            "right, for a wrong one may turn the next step the wrong way.",
            setup.judgement.bow.cant_deg.value, seen_deg->value, seen_deg->u95));
      }
      if (setup.against_hand) {
        setup.facts.hand = Hand::unknown;
        setup.judgement.warnings.push_back(
            "The bow in the picture leans to the side that does not go with the hand told, so the "
            "hand counts as unknown.");
      } else if (rules::leans_the_other_way(setup.judgement.bow)) {
        setup.judgement.warnings.push_back(
            "The cant told leans to the side that hardly goes with the hand: look at its sign "
            "(positive: the upper limb to the shooter's right).");
      }
    }
    setups.push_back(std::move(setup));
  }
  const auto lateral = summaries_of(setups, &JudgedShot::lat_deg, "sideways");
  const auto vertical = summaries_of(setups, &JudgedShot::vert_deg, "up and down");
  for (std::size_t i = 0; i < setups.size(); ++i) {
    setups[i].judgement.lateral = lateral[i];
    setups[i].judgement.vertical = vertical[i];
    setups[i].views_disagree = join_side_shots(setups[i].judgement, kUsualScatter);
    add_cant(setups[i].judgement);
    setups[i].judgement.correlation = correlation_of(setups[i].judgement);
    add_verdict(setups[i], options);
    add_warnings(setups[i]);
  }
  if (assumed) {
    cautions.push_back(fmt::format(
        "No cant was told: {:+.0f} ± {:.0f} deg is assumed (common practice for the hand, upper "
        "limb to the shooter's right positive) and carried in the intervals. A canted bow mixes "
        "sideways and up-and-down, so tell it.",
        assumed->cant_deg.value, assumed->cant_deg.u95));
  }
  return setups;
}

}  // namespace nocktrail::tune
