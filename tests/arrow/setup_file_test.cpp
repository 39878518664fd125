#include "nocktrail/arrow/setup_file.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "example_setups.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/error.hpp"

using namespace nocktrail::arrow;
using namespace nocktrail::arrow::examples;

namespace {

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string message_for(const std::string& toml) {
  try {
    parse_setup(toml, "bow.toml");
  } catch (const nocktrail::BadInput& error) {
    const std::string message = error.what();
    CHECK(message.find('\n') == std::string::npos);
    CHECK(message.rfind("bow.toml: ", 0) == 0);
    return message;
  }
  return "no complaint";
}

bool has(const std::string& text, const std::string& part) {
  CAPTURE(text);
  CAPTURE(part);
  const bool found = text.find(part) != std::string::npos;
  CHECK(found);
  return found;
}

bool raises(const Setup& setup, CautionKind kind) {
  const auto found = cautions(setup);
  return std::any_of(found.begin(), found.end(),
                     [kind](const Caution& caution) { return caution.kind == kind; });
}

}  // namespace

TEST_CASE("unit: the template is a valid set-up and says what it means") {
  const Setup setup = parse_setup(setup_template(), "template");
  CHECK(setup.archer.hand == nocktrail::Hand::unknown);  // not decided by being left alone
  CHECK(setup.bow.draw_weight_n == doctest::Approx(45.0 * kPound));
  CHECK(setup.bow.plate_offset_m == doctest::Approx(kInch / 16.0));
  CHECK(setup.arrow.shaft.length_m == doctest::Approx(29.0 * kInch));
  CHECK(setup.arrow.shaft.ei_n_m2 == doctest::Approx(5.0924).epsilon(1e-4));
  CHECK(mass_properties(setup.arrow).mass_kg == doctest::Approx(367.0 * kGrain));
}

TEST_CASE("unit: the other ways to state spine and mass") {
  const std::string base = setup_template();
  const Setup wood =
      parse_setup(replaced(base, "\nspine = \"0.500in\"", "\nwood_spine = \"50lb\""), "t");
  CHECK(wood.arrow.shaft.ei_n_m2 == doctest::Approx(4.0417).epsilon(1e-4));
  CHECK(wood.arrow.shaft.groups == SpineGroups::pounds);
  std::string tube =
      replaced(base, "\nspine = \"0.500in\"", "\nyoungs_modulus_gpa = 71\nwall = \"0.013in\"");
  tube = replaced(tube, "diameter = \"0.30in\"", "diameter = \"20/64in\"");
  CHECK(parse_setup(tube, "t").arrow.shaft.ei_n_m2 == doctest::Approx(4.061).epsilon(5e-4));
  const Setup weighed = parse_setup(
      replaced(base, "\nmass_per_length = \"8.0gr/in\"", "\nshaft_mass = \"232gr\""), "t");
  CHECK(weighed.arrow.shaft.mass_per_length_kg_per_m == doctest::Approx(8.0 * kGrain / kInch));
}

TEST_CASE("fault: impossible, missing and misspelt fields are named with what is accepted") {
  const std::string base = setup_template();
  std::string message = message_for(
      replaced(base, "draw_length = \"28in\"            #", "draw_length = \"40in\" #"));
  has(message, "archer.draw_length: 40in is not possible; give 20 to 34in");

  message = message_for(replaced(base, "nock_mass = \"10gr\"", "nock_mass = \"-10gr\""));
  has(message, "arrow.nock_mass: -10gr is not possible; give 0 to 60gr");

  message = message_for(replaced(base, "tip_mass = \"125gr\"", "tip_mass = \"1250gr\""));
  has(message, "arrow.tip_mass: 1250gr is not possible; give 20 to 500gr");

  message = message_for(replaced(base, "tip_mass = \"125gr\"", "tip_mass = \"125\""));
  has(message, "arrow.tip_mass: cannot read \"125\" as a mass (the unit is missing)");
  has(message, "(20 to 500gr is accepted)");

  message = message_for(replaced(base, "tip_mass = \"125gr\"", "tip_mass = 125"));
  has(message, "arrow.tip_mass must be text in quotes, with its unit");

  message = message_for(replaced(base, "tip_mass = ", "tip_mas = "));
  has(message, "arrow.tip_mass is missing");
  has(message, "(20 to 500gr is accepted)");

  message = message_for(replaced(base, "draw_weight = \"45lb\"", "draw_weight = \"45\""));
  has(message, "bow.draw_weight: cannot read \"45\" as a force (the unit is missing)");
  has(message, "(10 to 150lb is accepted)");

  message = message_for(replaced(base, "nock_mass = ", "knock_mass = "));
  has(message, "arrow.knock_mass is not a known field; did you mean arrow.nock_mass?");

  message = message_for(replaced(base, "[archer]", "[archr]"));
  has(message, "the section [archer] is missing");

  message = message_for(replaced(base, "# hand = \"right\"", "hand = \"rihgt\""));
  has(message, "hand: \"rihgt\" is neither");

  message = message_for(replaced(base, "[arrow] ", "[arrow "));
  has(message, "line ");

  message = message_for(
      replaced(base, "\nspine = \"0.500in\"", "\nspine = \"0.500in\"\nwood_spine = \"50lb\""));
  has(message, "give exactly one of arrow.spine");

  message = message_for(replaced(base, "\nspine = \"0.500in\"", "\nspine = \"500in\""));
  has(message, "arrow.spine: 500in (ASTM F2031) is not possible; give 0.15 to 2in");

  for (const char* bad : {"\nspine = \"0in\"", "\nspine = \"-0.5in\"", "\nspine = \"nan in\""}) {
    has(message_for(replaced(base, "\nspine = \"0.500in\"", bad)), "arrow.spine");
  }
  has(message_for(""), "the section [bow] is missing");
}

// Common practice, no source: 5 gr/lb is the floor, 8 to 10 what traditional bowyers ask; a point
// behind the rest is never drawn; the bow maker's own limits come first.
TEST_CASE("reference: the cautions of the trade") {
  Setup setup = longbow_with(arrow_b());  // 468 gr on 45 lb: 10.4 gr/lb
  CHECK(cautions(setup).empty());

  setup = longbow_with(arrow_a(20.0));  // 262 gr on 45 lb: 5.8 gr/lb
  CHECK(raises(setup, CautionKind::below_traditional_mass));
  CHECK_FALSE(raises(setup, CautionKind::below_floor_mass));
  setup.bow.draw_weight_n = 55.0 * kPound;  // 4.8 gr/lb
  CHECK(raises(setup, CautionKind::below_floor_mass));
  setup.bow.min_grains_per_pound = 8.0;
  CHECK(raises(setup, CautionKind::below_maker_mass));

  // Below what bowyers ask, nothing is made lighter before the maker's own limit is told.
  LimitFacts light;
  light.arrow_mass_kg = 350.0 * kGrain;
  light.held_n = 45.0 * kPound;  // 7.8 gr/lb
  CHECK(unknown_for_lighter(light).size() == 1);
  light.min_grains_per_pound = 8.0;
  CHECK(unknown_for_lighter(light).empty());
  light.min_grains_per_pound.reset();
  light.arrow_mass_kg = 380.0 * kGrain;  // 8.4 gr/lb
  CHECK(unknown_for_lighter(light).empty());

  setup = longbow_with(arrow_b());
  setup.arrow.shaft.length_m = 26.5 * kInch;  // 1/4 in past a rest 26 1/4 in from the nock
  CHECK(raises(setup, CautionKind::near_rest));
  setup.arrow.shaft.length_m = 26.0 * kInch;
  CHECK(raises(setup, CautionKind::behind_rest));

  setup = longbow_with(arrow_b());
  setup.bow.brace_min_m = 7.5 * kInch;
  CHECK(raises(setup, CautionKind::below_maker_brace));
  setup.bow.brace_min_m = 7.25 * kInch;
  setup.bow.brace_max_m = 7.25 * kInch;
  CHECK(cautions(setup).empty());
  setup.bow.brace_max_m = 7.0 * kInch;
  CHECK(raises(setup, CautionKind::above_maker_brace));
}
