// From what the archer told to the arrow model's set-up, and what was assumed on the way.
#include <algorithm>
#include <cmath>

#include "nocktrail/arrow/setup_check.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {
namespace {

using units::kKilogramsPerGrain;
using units::kMetresPerInch;

// Usual figures, common practice, no source; each moves the lateral offset by less than the
// spread of the model's own prior does.
constexpr double kUsualTubeDiameter_m = 0.30 * kMetresPerInch;
constexpr double kUsualWoodDiameter_m = 11.0 / 32.0 * kMetresPerInch;
constexpr double kUsualNockMass_kg = 10.0 * kKilogramsPerGrain;
constexpr double kUsualFletchingMass_kg = 20.0 * kKilogramsPerGrain;
constexpr double kUsualFletchingArea_m2 = 1.26e-3;  // three of ordinary size
constexpr double kUsualBraceHeight_m = 7.25 * kMetresPerInch;
constexpr double kUsualPlateOffset_m = kMetresPerInch / 16.0;
constexpr double kUsualNockingPoint_m = 0.5 * kMetresPerInch;

// Mass per length goes with the square root of the stiffness, through tubes of 8.0 gr/in at
// 0.500 in and wood of 11.6 gr/in at 50 lb.
double usual_mass_per_length(double ei_n_m2, bool wood) {
  const double at_kg_per_m = (wood ? 11.6 : 8.0) * kKilogramsPerGrain / kMetresPerInch;
  const double at_ei =
      wood ? arrow::ei_from_wood_pounds(50.0) : arrow::ei_from_astm_deflection(0.500);
  return at_kg_per_m * std::sqrt(ei_n_m2 / at_ei);
}

class Assembly {
 public:
  explicit Assembly(ModelSetup& result) : result_(result) {}

  double needed(const std::optional<double>& told, const char* what) {
    if (!told) {
      result_.missing.emplace_back(what);
    }
    return told.value_or(0.0);
  }

  double assumed(const std::optional<double>& told, double usual, const char* what) {
    if (!told) {
      result_.assumed.emplace_back(what);
    }
    return told.value_or(usual);
  }

 private:
  ModelSetup& result_;
};

double told_ei(const ArrowFacts& facts, ModelSetup& result) {
  if (!facts.spine) {
    result.missing.emplace_back("spine");
    return 0.0;
  }
  const double value = facts.spine->value;
  if (!(std::isfinite(value) && value > 0.0)) {
    result.missing.emplace_back("spine above zero");
    return 0.0;
  }
  return facts.spine->convention == SpineConvention::deflection_in
             ? arrow::ei_from_astm_deflection(value)
             : arrow::ei_from_wood_pounds(value);
}

}  // namespace

ModelSetup model_setup(const SetupFacts& facts) {
  ModelSetup result;
  Assembly take(result);
  arrow::Setup setup;
  const bool wood =
      facts.arrow.groups == arrow::SpineGroups::pounds ||
      (facts.arrow.spine && facts.arrow.spine->convention == SpineConvention::wood_pounds);

  if (facts.hand == Hand::unknown) {
    result.missing.emplace_back("hand");
  }
  setup.archer.hand = facts.hand == Hand::left ? Hand::left : Hand::right;
  setup.archer.draw_m = take.needed(facts.draw_m, "draw length");

  arrow::Bow& bow = setup.bow;
  bow.draw_weight_n = take.needed(facts.bow.draw_weight_n, "draw weight");
  bow.rated_draw_m = facts.bow.rated_draw_m.value_or(bow.rated_draw_m);
  bow.brace_height_m =
      take.assumed(facts.bow.brace_height_m, kUsualBraceHeight_m, "brace height 7 1/4 in");
  bow.plate_offset_m = take.assumed(facts.bow.plate_offset_m, kUsualPlateOffset_m,
                                    "strike plate 1/16 in outside centre");
  bow.nocking_point_m = take.assumed(facts.bow.nocking_point_m, kUsualNockingPoint_m,
                                     "nocking point 1/2 in above square");
  bow.string_mass_kg = facts.bow.string_mass_kg;
  if (!bow.string_mass_kg) {
    result.assumed.emplace_back("string 115 gr");
  }
  bow.brace_min_m = facts.bow.brace_min_m;
  bow.brace_max_m = facts.bow.brace_max_m;
  bow.max_draw_m = facts.bow.max_draw_m;
  bow.max_draw_weight_n = facts.bow.max_draw_weight_n;
  bow.min_grains_per_pound = facts.bow.min_grains_per_pound;

  arrow::ArrowBuild& arrow = setup.arrow;
  arrow::Shaft& shaft = arrow.shaft;
  shaft.groups = wood ? arrow::SpineGroups::pounds : arrow::SpineGroups::deflection;
  shaft.length_m = take.needed(facts.arrow.shaft_length_m, "shaft length");
  shaft.ei_n_m2 = told_ei(facts.arrow, result);
  shaft.diameter_m =
      take.assumed(facts.arrow.diameter_m, wood ? kUsualWoodDiameter_m : kUsualTubeDiameter_m,
                   wood ? "shaft diameter 11/32 in" : "shaft diameter 0.30 in");
  arrow.tip_mass_kg = take.needed(facts.arrow.tip_mass_kg, "tip weight");
  arrow.nock_mass_kg = take.assumed(facts.arrow.nock_mass_kg, kUsualNockMass_kg, "nock 10 gr");
  if (facts.arrow.fletching == Fletching::fletched) {
    arrow.fletching_mass_kg =
        take.assumed(facts.arrow.fletching_mass_kg, kUsualFletchingMass_kg, "fletching 20 gr");
    arrow.fletching_area_m2 = kUsualFletchingArea_m2;
    result.assumed.emplace_back("fletching of ordinary size");
  } else if (facts.arrow.fletching == Fletching::unknown) {
    result.assumed.emplace_back("bare shaft");
  }
  if (facts.arrow.mass_per_length_kg_per_m) {
    shaft.mass_per_length_kg_per_m = *facts.arrow.mass_per_length_kg_per_m;
  } else if (facts.arrow.total_mass_kg && shaft.length_m > 0.0) {
    shaft.mass_per_length_kg_per_m = (*facts.arrow.total_mass_kg - arrow.tip_mass_kg -
                                      arrow.nock_mass_kg - arrow.fletching_mass_kg) /
                                     shaft.length_m;
  } else if (shaft.ei_n_m2 > 0.0) {
    shaft.mass_per_length_kg_per_m = usual_mass_per_length(shaft.ei_n_m2, wood);
    result.assumed.emplace_back("shaft mass usual for its spine");
  }
  if (!result.missing.empty()) {
    return result;
  }
  try {
    arrow::check_setup(setup);
    // The model's stroke must be one: check_setup looks at each figure alone.
    constexpr double kLeastStroke_m = 0.25;
    if (arrow::power_stroke_m(setup) < kLeastStroke_m) {
      result.missing.emplace_back("a draw length well beyond the brace height");
    } else {
      result.setup = setup;
    }
  } catch (const BadInput& error) {
    result.missing.emplace_back(error.what());
  }
  return result;
}

}  // namespace nocktrail::tune
