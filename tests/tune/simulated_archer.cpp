#include "tune/simulated_archer.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <memory>
#include <string>
#include <string_view>

#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/arrow/unknowns.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::tune::simulated {
namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;
constexpr double kPound = units::kNewtonsPerPoundForce;
constexpr double kSigmasPerU95 = 1.959964;
constexpr int kShotsPerSetup = 6;  // of who goes by the plain rule
constexpr int kShotsFromSide = 4;
constexpr double kDeadBand_deg = 0.5;

class Archer {
 public:
  Archer(std::uint64_t seed, const World& world) : world_(world), generator_(seed) {
    // Redrawn until the full-length shaft acts weak, bare: that is how the trade starts.
    do {
      draw();
    } while (!(bare_at_start_ > -8.0 && bare_at_start_ < -1.0));
  }

  const SetupFacts& facts() const { return start_; }
  double scatter_deg() const { return scatter_deg_; }

  Truth truth(const SetupFacts& facts) const {
    const Truth model = by_the_model(facts);
    return {model_at_start_ + shift_deg_ + world_.answer * (model.stiff_deg - model_at_start_),
            model.nock_high_deg};
  }

  arrow::Setup setup_of(const SetupFacts& facts) const {
    arrow::Setup setup;
    setup.archer.hand = facts.hand;
    setup.archer.draw_m = *facts.draw_m;
    setup.bow.draw_weight_n = *facts.bow.draw_weight_n;
    setup.bow.brace_height_m = *facts.bow.brace_height_m;
    setup.bow.plate_offset_m = *facts.bow.plate_offset_m;
    setup.bow.nocking_point_m = *facts.bow.nocking_point_m;
    arrow::Shaft& shaft = setup.arrow.shaft;
    shaft.length_m = *facts.arrow.shaft_length_m;
    shaft.ei_n_m2 = facts.arrow.spine->convention == SpineConvention::deflection_in
                        ? arrow::ei_from_astm_deflection(facts.arrow.spine->value)
                        : arrow::ei_from_wood_pounds(facts.arrow.spine->value);
    shaft.mass_per_length_kg_per_m = *facts.arrow.mass_per_length_kg_per_m;
    shaft.diameter_m = *facts.arrow.diameter_m;
    setup.arrow.nock_mass_kg = *facts.arrow.nock_mass_kg;
    setup.arrow.tip_mass_kg = *facts.arrow.tip_mass_kg;
    if (facts.arrow.fletching == Fletching::fletched) {
      setup.arrow.fletching_mass_kg = fletching_mass_kg_;
      setup.arrow.fletching_area_m2 = fletching_area_m2_;
    }
    return setup;
  }

  SetupRecord film(const std::string& name, const SetupFacts& facts, int shots) {
    const Truth mean = truth(facts);
    const double side = facts.hand == Hand::left ? -1.0 : 1.0;
    SetupRecord record;
    record.name = name;
    record.facts = told(facts);
    record.facts.arrow.fletching_mass_kg = facts.arrow.fletching == Fletching::fletched
                                               ? std::optional(fletching_mass_kg_)
                                               : std::nullopt;
    for (int i = 0; i < shots; ++i) {
      ClipRecord clip;
      clip.file = fmt::format("shot{}.mp4", i + 1);
      clip.reading.status = ClipStatus::measured;
      Shot shot;
      shot.status = ShotStatus::measured;
      const double flies_off = chance(world_.flyers) ? (chance(0.5) ? 4.0 : -4.0) : 0.0;
      const bool touches = chance(world_.touches);
      const double right_u95 = between(0.2, 0.6);
      const double high_u95 = world_.reader_as_measured ? between(0.5, 1.0) : between(0.2, 0.6);
      shot.nock_right_deg = measured(side * (mean.stiff_deg + (touches ? 2.0 : 0.0)) + flies_off,
                                     right_u95, alike_right_);
      shot.nock_high_deg =
          measured(mean.nock_high_deg + (touches ? 1.0 : 0.0), high_u95, alike_high_);
      if (world_.reader_as_measured || world_.shared > 0.0) {
        shot.shared = SharedError{std::sqrt(world_.shared) * right_u95,
                                  std::sqrt(world_.shared) * high_u95, 0.0};
      }
      clip.reading.shots.push_back(shot);
      record.clips.push_back(clip);
    }
    return record;
  }

  // More shots of a set-up, by a phone beside the line.
  void film_from_side(SetupRecord& record, const SetupFacts& facts) {
    const Truth mean = truth(facts);
    for (int i = 0; i < kShotsFromSide; ++i) {
      ClipRecord clip;
      clip.file = fmt::format("side{}.mp4", record.clips.size() + 1);
      clip.reading.status = ClipStatus::measured;
      Shot shot;
      shot.status = ShotStatus::measured;
      shot.view = View::side;
      const double u95 = between(0.2, 0.45);
      const double touched = chance(world_.touches) ? 1.0 : 0.0;
      shot.nock_high_deg = measured(mean.nock_high_deg + touched, u95, alike_from_side_);
      shot.shared = SharedError{0.0, std::sqrt(world_.shared) * u95, 0.0};
      clip.reading.shots.push_back(shot);
      record.clips.push_back(clip);
    }
  }

 private:
  Measured measured(double value, double u95, double alike) {
    const double sd = u95 / kSigmasPerU95;
    return {value + scatter_deg_ * normal() + std::sqrt(1.0 - world_.shared) * sd * normal() +
                std::sqrt(world_.shared) * sd * alike,
            u95};
  }

  Truth by_the_model(const SetupFacts& facts) const {
    const arrow::ExitState shot = arrow::simulate_shot(setup_of(facts), unknowns_);
    const double side = facts.hand == Hand::left ? -1.0 : 1.0;
    return {side * shot.lateral.reference_offset_deg, shot.vertical.reference_offset_deg};
  }

  SetupFacts told(SetupFacts facts) const {
    if (!world_.spine_told) {
      facts.arrow.total_mass_kg = arrow::mass_properties(setup_of(facts).arrow).mass_kg;
      facts.arrow.spine.reset();
      facts.arrow.mass_per_length_kg_per_m.reset();
    }
    return facts;
  }

  arrow::Prior prior() const {
    arrow::Prior wide;
    for (double* sd :
         {&wide.finger_ratio_log, &wide.finger_travel_log, &wide.finger_lift,
          &wide.plate_stiffness_log, &wide.shelf_stiffness_log, &wide.support_damping_log,
          &wide.ei_log, &wide.string_side_log, &wide.string_height_log, &wide.virtual_mass_log,
          &wide.limb_mass_log, &wide.early_weight, &wide.efficiency, &wide.flex_damping_log,
          &wide.string_side_mass_log}) {
      *sd *= world_.spread;
    }
    wide.middle.string_side_factor *= world_.string_side;
    wide.middle.string_side_mass_kg *= world_.string_side_mass;
    return wide;
  }

  double between(double low, double high) {
    return boost::random::uniform_real_distribution<double>(low, high)(generator_);
  }
  double normal() { return normal_(generator_); }
  // Draws nothing in a world without it, whose shots stay the same.
  bool chance(double share) { return share > 0.0 && between(0.0, 1.0) < share; }
  double nearest(double value, double step) { return step * std::round(value / step); }

  void draw() {
    SetupFacts facts;
    facts.hand = between(0.0, 1.0) < 0.25 ? Hand::left : Hand::right;
    facts.cant_deg = 0.0;
    facts.draw_m = nearest(between(26.5, 29.0), 0.25) * kInch;
    facts.bow.draw_weight_n = nearest(between(35.0, 55.0), 1.0) * kPound;
    facts.bow.brace_height_m = nearest(between(7.0, 7.75), 0.125) * kInch;
    facts.bow.brace_min_m = *facts.bow.brace_height_m - 0.5 * kInch;
    facts.bow.brace_max_m = *facts.bow.brace_height_m + 0.5 * kInch;
    facts.bow.plate_offset_m = nearest(between(0.0, 5.0), 1.0) / 32.0 * kInch;
    if (between(0.0, 1.0) < 0.5) {
      facts.bow.min_grains_per_pound = nearest(between(7.0, 8.0), 0.5);
    }
    const bool wood = between(0.0, 1.0) < 0.4;
    ArrowFacts& arrow = facts.arrow;
    arrow.groups = wood ? arrow::SpineGroups::pounds : arrow::SpineGroups::deflection;
    arrow.diameter_m = wood ? 11.0 / 32.0 * kInch : 0.30 * kInch;
    arrow.shaft_length_m = nearest(between(31.0, 32.0), 0.25) * kInch;
    arrow.tip_mass_kg = nearest(between(100.0, 150.0), 5.0) * kGrain;
    arrow.nock_mass_kg = nearest(between(7.0, 12.0), 1.0) * kGrain;
    arrow.fletching = Fletching::bare;
    facts.bow.nocking_point_m = nearest(between(0.625, 0.75), 1.0 / 16.0) * kInch;
    fletching_mass_kg_ = between(14.0, 26.0) * kGrain;
    fletching_area_m2_ = between(1.0e-3, 1.5e-3);
    scatter_deg_ = between(0.3, 0.8);
    // The shop's advice: a spine that for the average archer comes straight an inch or two
    // shorter.
    const double to_trim_m = between(0.5, 2.25) * kInch;
    const arrow::Unknowns own = arrow::draw_unknowns(prior(), generator_(), 0);
    unknowns_ = {};
    double low = 15.0;
    double high = 140.0;
    for (int i = 0; i < 30; ++i) {
      const double pounds = 0.5 * (low + high);
      stiffen(facts, pounds, wood);
      SetupFacts shorter = facts;
      shorter.arrow.shaft_length_m = *facts.arrow.shaft_length_m - to_trim_m;
      (by_the_model(shorter).stiff_deg < 0.0 ? low : high) = pounds;
    }
    stiffen(facts, nearest(low, 1.0), wood);
    unknowns_ = own;
    model_at_start_ = by_the_model(facts).stiff_deg;
    if (world_.shift_deg > 0.0) {
      shift_deg_ = chance(0.5) ? world_.shift_deg : -world_.shift_deg;
    }
    if (world_.shared > 0.0) {
      alike_right_ = normal();
      alike_high_ = normal();
      alike_from_side_ = world_.from_side ? normal() : 0.0;
    }
    bare_at_start_ = truth(facts).stiff_deg;
    facts.arrow.fletching = Fletching::fletched;
    start_ = facts;
  }

  static void stiffen(SetupFacts& facts, double pounds, bool wood) {
    const double ei = arrow::ei_from_wood_pounds(pounds);
    facts.arrow.spine =
        wood ? SpineTold{SpineConvention::wood_pounds, pounds}
             : SpineTold{SpineConvention::deflection_in, arrow::astm_deflection_in(ei)};
    const double usual = wood ? 370.0 / 32.0 : 8.0;  // gr/in at 50 lb, at 0.500 in
    const double usual_pounds = wood ? 50.0 : 63.0;
    facts.arrow.mass_per_length_kg_per_m =
        usual * std::sqrt(pounds / usual_pounds) * kGrain / kInch;
  }

  World world_;
  boost::random::mt19937_64 generator_;
  boost::random::normal_distribution<double> normal_;
  SetupFacts start_;
  arrow::Unknowns unknowns_;
  double fletching_mass_kg_ = 0.0;
  double fletching_area_m2_ = 0.0;
  double scatter_deg_ = 0.0;
  double bare_at_start_ = 0.0;
  double model_at_start_ = 0.0;
  double shift_deg_ = 0.0;
  double alike_right_ = 0.0;  // the error that all readings share, in sigmas
  double alike_high_ = 0.0;
  double alike_from_side_ = 0.0;
};

void other_shaft(SetupFacts& facts, double full_length_m, double pounds_more) {
  SpineTold& spine = *facts.arrow.spine;
  const bool wood = spine.convention == SpineConvention::wood_pounds;
  const double pounds =
      wood ? spine.value : arrow::wood_pounds(arrow::ei_from_astm_deflection(spine.value));
  // A deflection group is about a sixth apart.
  const double after = wood ? pounds + pounds_more : pounds * std::pow(1.17, pounds_more / 5.0);
  spine.value = wood ? after : arrow::astm_deflection_in(arrow::ei_from_wood_pounds(after));
  facts.arrow.mass_per_length_kg_per_m =
      *facts.arrow.mass_per_length_kg_per_m * std::sqrt(after / pounds);
  facts.arrow.shaft_length_m = full_length_m;
}

// The set-up after following the step; the number of shots to film comes back.
int follow(const Step& step, const SetupFacts& start, SetupFacts& facts) {
  const double amount = step.amount.value_or(0.0);
  switch (step.kind) {
    case StepKind::film_more:
      return std::max(1, static_cast<int>(amount));
    case StepKind::start_high:
      facts.bow.nocking_point_m = *facts.bow.nocking_point_m + amount;
      break;
    case StepKind::lower_nocking_point:
      facts.bow.nocking_point_m = *facts.bow.nocking_point_m - amount;
      break;
    case StepKind::raise_nocking_point:
      facts.bow.nocking_point_m = *facts.bow.nocking_point_m + amount;
      break;
    case StepKind::trim_shaft:
      facts.arrow.shaft_length_m = *facts.arrow.shaft_length_m - amount;
      break;
    case StepKind::heavier_tip:
      facts.arrow.tip_mass_kg = *facts.arrow.tip_mass_kg + amount;
      break;
    case StepKind::lighter_tip:
      facts.arrow.tip_mass_kg = *facts.arrow.tip_mass_kg - amount;
      break;
    case StepKind::weaker_shaft:
      other_shaft(facts, *start.arrow.shaft_length_m, -5.0);
      break;
    // A bare shaft that trails too far is not shot again: the archer takes those that are named.
    case StepKind::do_not_shoot_arrow:
      other_shaft(facts, *start.arrow.shaft_length_m,
                  step.words.find("acts stiff") != std::string::npos ? -5.0 : 5.0);
      break;
    case StepKind::stiffer_shaft:
      other_shaft(facts, *start.arrow.shaft_length_m, 5.0);
      break;
    case StepKind::thinner_plate:
      facts.bow.plate_offset_m = *facts.bow.plate_offset_m - amount;
      break;
    case StepKind::thicker_plate:
      facts.bow.plate_offset_m = *facts.bow.plate_offset_m + amount;
      break;
    case StepKind::shoot_bare:
      facts.arrow.fletching = Fletching::bare;
      break;
    case StepKind::shoot_fletched:
      facts.arrow.fletching = Fletching::fletched;
      break;
    // The archer looks, finds nothing, and says so.
    case StepKind::look_for_cause:
      facts.accepted_nock_height = "no cause found";
      break;
    case StepKind::fine_tune_brace:
      facts.bow.brace_height_m = *facts.bow.brace_height_m +
                                 (step.words.find("raise") != std::string::npos ? amount : -amount);
      break;
    default:
      break;
  }
  return rules::kUsualShots;
}

bool past_a_limit(const Archer& archer, const SetupFacts& facts) {
  const arrow::Setup setup = archer.setup_of(facts);
  const double grains = arrow::grains_per_pound(arrow::mass_properties(setup.arrow).mass_kg,
                                                arrow::held_force_n(setup));
  return setup.arrow.shaft.length_m < arrow::nock_to_rest_at_full_draw_m(setup.archer) ||
         grains < std::max(5.0, facts.bow.min_grains_per_pound.value_or(0.0)) ||
         *facts.bow.brace_height_m < *facts.bow.brace_min_m - 1e-6 ||
         *facts.bow.brace_height_m > *facts.bow.brace_max_m + 1e-6;
}

// A shaft that comes out lighter than the step says is left at the shop for a heavier one of that
// spine.
void weigh_as_told(const Archer& archer, const Step& step, SetupFacts& facts) {
  const std::string_view before = "the arrow must weigh ";
  const std::size_t at = step.words.find(before);
  if (at == std::string::npos) {
    return;
  }
  const double least_kg =
      std::stod(step.words.substr(at + before.size())) * units::kKilogramsPerGrain;
  const double short_kg = least_kg - arrow::mass_properties(archer.setup_of(facts).arrow).mass_kg;
  if (short_kg > 0.0) {
    facts.arrow.mass_per_length_kg_per_m =
        *facts.arrow.mass_per_length_kg_per_m + short_kg / *facts.arrow.shaft_length_m;
  }
}

bool moves_nocking_point(StepKind kind) {
  return kind == StepKind::start_high || kind == StepKind::lower_nocking_point ||
         kind == StepKind::raise_nocking_point;
}

// Whether the step, or what is said at the end, asks for shots from the side.
bool asks_for_side(const Step& step) {
  return step.words.find("from the side if you can") != std::string::npos ||
         step.because.find("filmed from the side would") != std::string::npos;
}

constexpr double kBowyersWord = 6.0;  // grains a pound

bool asks_for_makers_limit(const Step& step) {
  return step.kind == StepKind::tell_facts &&
         step.words.find("min_grains_per_pound") != std::string::npos;
}

}  // namespace

LoopResult run_loop(std::uint64_t seed, const JudgementOptions& options, int most_steps,
                    const World& world) {
  Archer archer(seed, world);
  LoopResult result;
  result.start = archer.facts();
  result.at_start = archer.truth(result.start);
  result.scatter_deg = archer.scatter_deg();
  SetupFacts facts = result.start;
  const bool unsafe_from_the_start = past_a_limit(archer, facts);
  SessionRecord session;
  session.name = "simulated";
  int shots = rules::kUsualShots;
  bool side_too = world.from_side;
  const auto from_side = [&] {
    archer.film_from_side(session.setups.back(), facts);
    result.shots += kShotsFromSide;
  };
  for (;;) {
    if (shots > 0) {
      session.setups.push_back(
          archer.film(fmt::format("{:02}", session.setups.size() + 1), facts, shots));
      result.shots += shots;
    }
    if (side_too) {
      from_side();
    }
    const SessionJudgement judgement = judge_session(session, options);
    if (world.from_side && asks_for_side(judgement.next) && result.steps < most_steps) {
      ++result.steps;
      shots = 0;
      side_too = true;
      continue;
    }
    result.last_words = judgement.next.words;
    result.finished = judgement.next.kind == StepKind::done;
    if (result.finished || result.steps >= most_steps) {
      const SetupJudgement& last = judgement.setups.back();
      const double side = facts.hand == Hand::left ? -1.0 : 1.0;
      result.mean_held =
          last.lateral && std::abs(last.lateral->mean_deg - side * archer.truth(facts).stiff_deg) <=
                              last.lateral->u95_deg;
      result.open_up_and_down =
          judgement.next.because.find("cannot be settled") != std::string::npos;
      break;
    }
    ++result.steps;
    const Truth before = archer.truth(facts);
    shots = follow(judgement.next, result.start, facts);
    weigh_as_told(archer, judgement.next, facts);
    if (asks_for_makers_limit(judgement.next)) {
      // Its bowyer, when asked, gives one; it is written where the bow is told.
      facts.bow.min_grains_per_pound = kBowyersWord;
      for (SetupRecord& setup : session.setups) {
        setup.facts.bow.min_grains_per_pound = kBowyersWord;
      }
      shots = 0;
    }
    side_too = world.from_side && moves_nocking_point(judgement.next.kind);
    const Truth after = archer.truth(facts);
    result.history +=
        fmt::format("{}{} {:.2f}/{:.2f}", result.history.empty() ? "" : ", ",
                    rules::word(judgement.next.kind), after.stiff_deg, after.nock_high_deg);
    if (judgement.next.kind == StepKind::trim_shaft) {
      ++result.trims;
      result.furthest_past_deg = std::max(result.furthest_past_deg, after.stiff_deg);
      result.overshot = result.overshot ||
                        (after.stiff_deg > kDeadBand_deg && after.stiff_deg > before.stiff_deg);
    }
    result.past_a_limit =
        result.past_a_limit || (!unsafe_from_the_start && past_a_limit(archer, facts));
  }
  result.finish = facts;
  // What is tuned is the bare shaft; the tune ends on the finished arrow, which reads stiffer.
  facts.arrow.fletching = Fletching::bare;
  result.at_finish = archer.truth(facts);
  return result;
}

LoopResult run_plain_rule(std::uint64_t seed, int most_steps, const World& world) {
  Archer archer(seed, world);
  LoopResult result;
  result.start = archer.facts();
  result.at_start = archer.truth(result.start);
  result.scatter_deg = archer.scatter_deg();
  SetupFacts facts = result.start;
  facts.arrow.fletching = Fletching::bare;
  const double side = facts.hand == Hand::left ? -1.0 : 1.0;
  const bool unsafe_from_the_start = past_a_limit(archer, facts);
  bool level = false;
  while (!result.finished && result.steps < most_steps) {
    const SetupRecord shot = archer.film("plain", facts, kShotsPerSetup);
    result.shots += kShotsPerSetup;
    double stiff = 0.0;
    double high = 0.0;
    for (const ClipRecord& clip : shot.clips) {
      stiff += side * clip.reading.shots[0].nock_right_deg->value / kShotsPerSetup;
      high += clip.reading.shots[0].nock_high_deg->value / kShotsPerSetup;
    }
    level = level || high < kDeadBand_deg;
    if (!level) {
      facts.bow.nocking_point_m = *facts.bow.nocking_point_m - kInch / 16.0;
    } else if (stiff < -kDeadBand_deg) {
      const double trim = (stiff < -2.0 ? 0.5 : stiff < -1.0 ? 0.25 : 0.125) * kInch;
      const Truth before = archer.truth(facts);
      facts.arrow.shaft_length_m = *facts.arrow.shaft_length_m - trim;
      const Truth after = archer.truth(facts);
      ++result.trims;
      result.overshot = result.overshot ||
                        (after.stiff_deg > kDeadBand_deg && after.stiff_deg > before.stiff_deg);
    } else {
      result.finished = true;
    }
    result.past_a_limit =
        result.past_a_limit || (!unsafe_from_the_start && past_a_limit(archer, facts));
    ++result.steps;
  }
  result.shots += kShotsPerSetup;  // the fletched arrow at the end
  result.finish = facts;
  result.at_finish = archer.truth(facts);
  return result;
}

Beginning beginning(std::uint64_t seed, const std::vector<double>& trims_m, const World& world) {
  const auto archer = std::make_shared<Archer>(seed, world);
  Beginning result;
  result.session.name = "simulated";
  for (const double trim_m : trims_m) {
    SetupFacts facts = archer->facts();
    facts.arrow.fletching = Fletching::bare;
    facts.bow.nocking_point_m = *facts.arrow.diameter_m;
    facts.arrow.shaft_length_m = *facts.arrow.shaft_length_m - trim_m;
    result.session.setups.push_back(archer->film(
        fmt::format("{:02}", result.session.setups.size() + 1), facts, kShotsPerSetup));
  }
  result.truth = [archer](const SetupFacts& facts) { return archer->truth(facts); };
  return result;
}

}  // namespace nocktrail::tune::simulated
