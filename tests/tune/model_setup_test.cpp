#include <doctest/doctest.h>

#include <algorithm>
#include <limits>

#include "nocktrail/arrow/spine.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;
using doctest::Approx;

TEST_CASE("unit: whole facts make the arrow model's set-up, nothing assumed") {
  SetupFacts whole = facts(30.0);
  whole.bow.string_mass_kg = 8e-3;
  const ModelSetup model = model_setup(whole);
  REQUIRE(model.setup);
  CHECK(model.setup->bow.string_mass_kg == 8e-3);
  CHECK(model.missing.empty());
  CHECK(model.assumed.empty());
  CHECK(model.setup->arrow.shaft.length_m == Approx(30.0 * kInch));
  // Trade facts, section 8: ASTM 0.500 in is EI 5.0924 N m2.
  CHECK(model.setup->arrow.shaft.ei_n_m2 == Approx(5.0924).epsilon(1e-4));
  CHECK(model.setup->arrow.fletching_area_m2 == 0.0);
}

TEST_CASE("unit: what is missing is named, small things are assumed and named") {
  SetupFacts bare = facts();
  bare.arrow.diameter_m.reset();
  bare.arrow.nock_mass_kg.reset();
  bare.bow.plate_offset_m.reset();
  const ModelSetup assumed = model_setup(bare);
  CHECK(assumed.setup);
  CHECK(assumed.assumed.size() == 4);  // the string's mass is told by nobody here
  bare.draw_m.reset();
  bare.hand = Hand::unknown;
  const ModelSetup missing = model_setup(bare);
  CHECK_FALSE(missing.setup);
  CHECK(missing.missing == std::vector<std::string>{"hand", "draw length"});
}

TEST_CASE("unit: wood in pounds, and mass per length from the weighed arrow") {
  SetupFacts wood = facts();
  // Trade facts, section 8: 50 lb is EI 4.0417 N m2.
  wood.arrow.spine = SpineTold{SpineConvention::wood_pounds, 50.0};
  wood.arrow.mass_per_length_kg_per_m.reset();
  wood.arrow.total_mass_kg = 445.0 * kGrain;  // 310 for the shaft's 31 in
  const ModelSetup model = model_setup(wood);
  REQUIRE(model.setup);
  CHECK(model.setup->arrow.shaft.ei_n_m2 == Approx(4.0417).epsilon(1e-4));
  CHECK(model.setup->arrow.shaft.groups == arrow::SpineGroups::pounds);
  CHECK(model.setup->arrow.shaft.mass_per_length_kg_per_m == Approx(10.0 * kGrain / kInch));
}

TEST_CASE("fault: facts out of range leave the model out and say why") {
  SetupFacts odd = facts();
  odd.arrow.tip_mass_kg = 5.0;  // 5 kg
  CHECK_FALSE(model_setup(odd).setup);
  REQUIRE(model_setup(odd).missing.size() == 1);
  CHECK(model_setup(odd).missing[0].find("arrow.tip_mass") != std::string::npos);
  odd = facts();
  odd.arrow.spine->value = std::numeric_limits<double>::quiet_NaN();
  CHECK_FALSE(model_setup(odd).setup);
  odd.arrow.spine->value = -1.0;
  CHECK_FALSE(model_setup(odd).setup);
}
