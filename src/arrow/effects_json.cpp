#include <nlohmann/json.hpp>

#include "nocktrail/arrow/effects_view.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/arrow/spine.hpp"

namespace nocktrail::arrow {
namespace {

using nlohmann::json;

json band_json(const Band& band) {
  return {{"median", band.median}, {"low95", band.low95}, {"high95", band.high95}};
}

// What forbids to shoot the set-up as it is, and apart from it what only warns.
json caution_texts(const Setup& setup, bool forbidding) {
  json texts = json::array();
  for (const Caution& caution : cautions(setup)) {
    if ((caution.forbids != Forbids::nothing) == forbidding) {
      texts.push_back(forbidding ? stop_words(caution) : caution.text);
    }
  }
  return texts;
}

json remaining_json(const Remaining& remaining) {
  json result = {{"amount", nullptr},
                 {"quantiles", nullptr},
                 {"share_reached", remaining.share_reached},
                 {"share_wrong_way", remaining.share_wrong_way},
                 {"share_out_of_reach", remaining.share_out_of_reach}};
  if (!remaining.amounts.empty()) {
    result["amount"] = band_json(remaining.amount);
    json quantiles = json::object();
    for (const auto& [name, share] :
         {std::pair{"p05", 0.05}, std::pair{"p25", 0.25}, std::pair{"p50", 0.50},
          std::pair{"p75", 0.75}, std::pair{"p95", 0.95}}) {
      quantiles[name] = quantile_of_sorted(remaining.amounts, share);
    }
    result["quantiles"] = quantiles;
  }
  return result;
}

json arrow_json(const Setup& setup) {
  const MassProperties mass = mass_properties(setup.arrow);
  const double ei = setup.arrow.shaft.ei_n_m2;
  return {{"mass_kg", mass.mass_kg},
          {"balance_m", mass.balance_m},
          {"foc_percent", mass.foc_percent},
          {"ei_n_m2", ei},
          {"astm_deflection_in", astm_deflection_in(ei)},
          {"wood_pounds", wood_pounds(ei)},
          {"shaft_length_m", setup.arrow.shaft.length_m},
          {"held_n", held_force_n(setup)},
          {"grains_per_pound", grains_per_pound(mass.mass_kg, held_force_n(setup))},
          {"flex_frequency_hz", BeamModes(setup.arrow).frequency_hz(1)}};
}

// Null where it is not told: the signs are a right-handed archer's then, as the text says.
json hand_name(const Setup& setup) {
  if (setup.archer.hand == Hand::unknown) {
    return nullptr;
  }
  return setup.archer.hand == Hand::left ? "left" : "right";
}

}  // namespace

json effects_json(const EffectsAnswer& answer) {
  json effects = json::array();
  for (const Effect& effect : answer.table.effects) {
    effects.push_back({{"key", effect.change.key},
                       {"label", effect.change.label},
                       {"nock_right_change_deg", band_json(effect.lateral_deg)},
                       {"nock_high_change_deg", band_json(effect.vertical_deg)},
                       {"share_weaker", effect.share_weaker},
                       {"note", effect.change.note},
                       {"stops", effect.stops},
                       {"cautions", effect.cautions}});
  }
  json curve = json::array();
  for (std::size_t i = 0; i < answer.outlook.curve.length_m.size(); ++i) {
    curve.push_back({{"shaft_length_m", answer.outlook.curve.length_m[i]},
                     {"nock_right_deg", band_json(answer.outlook.curve.nock_right_deg[i])}});
  }
  json reading = nullptr;
  if (answer.reading) {
    reading = {{"nock_right_deg", answer.reading->nock_right_deg},
               {"u95_deg", answer.reading->u95_deg},
               {"effective_draws", answer.draws.effective},
               {"pool", answer.draws.pool}};
  }
  return {{"schema", "nocktrail.effects/1"},
          {"setup", answer.setup_name},
          {"hand", hand_name(answer.setup)},
          {"seed", answer.seed},
          {"draws", answer.draws.draws.size()},
          {"arrow", arrow_json(answer.setup)},
          {"stops", answer.stops},
          {"cautions", caution_texts(answer.setup, false)},
          {"reading", reading},
          {"as_it_stands",
           {{"nock_right_deg", band_json(answer.table.nock_right_deg)},
            {"nock_high_deg", band_json(answer.table.nock_high_deg)},
            {"speed_mps", band_json(answer.table.speed_mps)},
            {"flex_amplitude_mm", band_json(answer.table.flex_amplitude_mm)},
            {"share_folded", answer.table.share_folded},
            {"share_touching", answer.table.share_touching}}},
          {"effects", effects},
          {"length_curve", curve},
          {"shortest_safe_m", answer.outlook.curve.shortest_safe_m},
          {"nock_right_per_inch_trimmed_deg", band_json(answer.outlook.per_inch_trimmed_deg)},
          {"trim_m", remaining_json(answer.outlook.trim)},
          {"add_tip_kg", remaining_json(answer.outlook.add_tip)},
          {"lose_tip_kg", remaining_json(answer.outlook.lose_tip)}};
}

json starting_json(const Setup& setup, const StartingRange& range) {
  json result = {{"schema", "nocktrail.starting-range/1"},
                 {"hand", hand_name(setup)},
                 {"held_n", held_force_n(setup)},
                 {"stops", caution_texts(setup, true)},
                 {"cautions", caution_texts(setup, false)},
                 {"share_found", range.share_found},
                 {"rule_of_thumb_wood_pounds", range.rule_of_thumb_lb},
                 {"rule_of_thumb_spread_pounds", range.rule_of_thumb_spread_lb},
                 {"groups", range.groups},
                 {"groups_left_out", range.left_out},
                 {"astm_deflection_in", nullptr},
                 {"astm_deflection_80_in", nullptr},
                 {"wood_pounds", nullptr}};
  if (range.share_found > 0.0) {
    result["astm_deflection_in"] = band_json(range.astm_deflection_in);
    result["astm_deflection_80_in"] = {range.low80_in, range.high80_in};
    result["wood_pounds"] = band_json(range.wood_pounds);
  }
  return result;
}

}  // namespace nocktrail::arrow
