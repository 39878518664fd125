#include "nocktrail/arrow/effects.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numeric>

#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/error.hpp"
#include "offsets.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kSigmasPerU95 = 1.959964;
constexpr double kMostFolded = 0.5;

// What a change newly raises without forbidding, and all that forbids the state after it.
void judge_limits(const std::vector<Caution>& before, Effect& effect) {
  for (const Caution& caution : cautions(effect.change.after)) {
    if (caution.forbids != Forbids::nothing) {
      effect.stops.push_back(stop_words(caution));
      continue;
    }
    const bool known = std::any_of(before.begin(), before.end(), [&](const Caution& earlier) {
      return earlier.kind == caution.kind;
    });
    if (!known) {
      effect.cautions.push_back(caution.text);
    }
  }
}

}  // namespace

DrawSet draw_set(const Setup& setup, const std::optional<MeasuredOffset>& reading,
                 const EffectsOptions& options) {
  DrawSet set;
  if (!reading) {
    for (std::size_t i = 0; i < options.draws; ++i) {
      set.draws.push_back(draw_unknowns(options.prior, options.seed, i));
    }
    set.pool = options.draws;
    set.effective = static_cast<double>(options.draws);
    return set;
  }
  // Sampling, importance, resampling: the prior's draws weighted by how well their offset agrees
  // with the reading, then picked anew at even steps of the cumulative weight.
  set.pool = std::max(options.pool, options.draws);
  std::vector<Unknowns> pool(set.pool);
  std::vector<double> log_weight(set.pool);
  std::vector<double> left_deg(set.pool);  // what a draw leaves of the reading
  StrokeOptions lateral = options.stroke;
  lateral.vertical = false;
  const double u = reading->u95_deg / kSigmasPerU95;
  const double sigma = std::hypot(u, options.model_error_deg);
  // Of what is left, the model's part and its spread: a normal of the one about the other.
  const double models_share = std::pow(options.model_error_deg / sigma, 2);
  const double models_sd = u * options.model_error_deg / sigma;
  const boost::math::normal normal;
  for_each_index(
      set.pool,
      [&](std::size_t i) {
        pool[i] = draw_unknowns(options.prior, options.seed, i);
        const double offset = lateral_offset_deg(simulate_shot(setup, pool[i], lateral));
        left_deg[i] = reading->nock_right_deg - offset;
        const double miss = left_deg[i] / sigma;
        log_weight[i] = -0.5 * miss * miss;
      },
      options.threads);
  const double best = *std::max_element(log_weight.begin(), log_weight.end());
  double sum = 0.0;
  double square_sum = 0.0;
  for (double& weight : log_weight) {
    weight = std::exp(weight - best);
    sum += weight;
    square_sum += weight * weight;
  }
  // A best draw that is itself many sigma off would look like a fine fit after normalising; its
  // own likelihood caps what the set is worth.
  set.effective = sum * sum / square_sum * std::exp(best);
  double cumulative = 0.0;
  std::size_t at = 0;
  const double start = draw_uniform(options.seed, 0);
  for (std::size_t k = 0; k < options.draws; ++k) {
    const double wanted = (static_cast<double>(k) + start) / static_cast<double>(options.draws);
    while (at + 1 < set.pool && (cumulative + log_weight[at]) / sum < wanted) {
      cumulative += log_weight[at];
      ++at;
    }
    set.draws.push_back(pool[at]);
    const double chance = std::clamp(draw_uniform(options.seed, k + 1), 1e-6, 1.0 - 1e-6);
    set.missed_deg.push_back(models_share * left_deg[at] +
                             models_sd * boost::math::quantile(normal, chance));
  }
  return set;
}

EffectsTable effects_table(const Setup& setup, const DrawSet& draws,
                           const EffectsOptions& options) {
  const std::vector<Change> changes = usual_changes(setup);
  const std::size_t n = draws.draws.size();
  struct Shot {
    double lateral;
    double vertical;
  };
  std::vector<ExitState> base(n);
  std::vector<std::vector<Shot>> changed(changes.size(), std::vector<Shot>(n));
  for_each_index(
      n,
      [&](std::size_t i) {
        base[i] = simulate_shot(setup, draws.draws[i], options.stroke);
        for (std::size_t c = 0; c < changes.size(); ++c) {
          const ExitState shot = simulate_shot(changes[c].after, draws.draws[i], options.stroke);
          changed[c][i] = {lateral_offset_deg(shot) - lateral_offset_deg(base[i]),
                           vertical_offset_deg(shot) - vertical_offset_deg(base[i])};
        }
      },
      options.threads);

  const auto band_over = [&](auto&& value) {
    std::vector<double> values(n);
    for (std::size_t i = 0; i < n; ++i) {
      values[i] = value(i);
    }
    return band_of(std::move(values));
  };
  EffectsTable table;
  table.nock_right_deg =
      band_over([&](auto i) { return lateral_offset_deg(base[i]) + draws.missed(i); });
  table.nock_high_deg = band_over([&](auto i) { return vertical_offset_deg(base[i]); });
  table.speed_mps = band_over([&](auto i) { return base[i].speed_mps; });
  table.flex_amplitude_mm = band_over([&](auto i) { return base[i].lateral.flex_amplitude_mm; });
  const auto folded = std::count_if(base.begin(), base.end(),
                                    [](const ExitState& shot) { return !shot.small_angles; });
  table.share_folded = static_cast<double>(folded) / static_cast<double>(n);
  if (table.share_folded > kMostFolded) {
    throw BadInput(fmt::format(
        "arrow.spine: a shaft of {:.3f}in (ASTM) would fold or leave at over 30 degrees "
        "from {:.0f}lb held; do not shoot it; check arrow.spine, bow.draw_weight and "
        "bow.nocking_point",
        astm_deflection_in(setup.arrow.shaft.ei_n_m2),
        held_force_n(setup) / units::kNewtonsPerPoundForce));
  }
  const auto touching = std::count_if(base.begin(), base.end(), [](const ExitState& shot) {
    return shot.lateral.touched_after_exit || shot.vertical.touched_after_exit;
  });
  table.share_touching = static_cast<double>(touching) / static_cast<double>(n);
  // Weaker is the nock to the left of a right-handed archer, to the right of a left-handed one.
  const double weaker_sign = setup.archer.hand == Hand::left ? 1.0 : -1.0;
  const std::vector<Caution> had = cautions(setup);
  for (std::size_t c = 0; c < changes.size(); ++c) {
    Effect effect;
    effect.change = changes[c];
    effect.lateral_deg = band_over([&](auto i) { return changed[c][i].lateral; });
    effect.vertical_deg = band_over([&](auto i) { return changed[c][i].vertical; });
    const auto weaker = std::count_if(changed[c].begin(), changed[c].end(),
                                      [&](const Shot& s) { return weaker_sign * s.lateral > 0.0; });
    effect.share_weaker = static_cast<double>(weaker) / static_cast<double>(n);
    judge_limits(had, effect);
    table.effects.push_back(std::move(effect));
  }
  return table;
}

}  // namespace nocktrail::arrow
