#include "nocktrail/tune/facts_words.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "sample_session.hpp"

using namespace nocktrail;
using test::inches;

TEST_CASE("reference: lengths in inches and millimetres, 1 in being 25.4 mm exactly") {
  CHECK(tune::inches_and_mm(inches(7.5)) == "7 1/2 in (190.5 mm)");
  CHECK(tune::inches_and_mm(inches(29.5)) == "29 1/2 in (749.3 mm)");
  CHECK(tune::inches_and_mm(inches(28.0)) == "28 in (711.2 mm)");
  CHECK(tune::inches_and_mm(inches(0.0625)) == "1/16 in (1.6 mm)");
  CHECK(tune::inches_and_mm(inches(-0.125)) == "−1/8 in (−3.2 mm)");
  CHECK(tune::inches_and_mm(0.0) == "0 in (0 mm)");
  // 0.30 in is 0.08 mm from the nearest sixty-fourth.
  CHECK(tune::inches_and_mm(0.00762) == "0.30 in (7.6 mm)");
  CHECK(tune::inches_and_mm(1e9).ends_with(" mm"));
}

TEST_CASE("unit: what changed is said with what it was, and nothing else is") {
  const tune::SessionRecord session = test::sample_session();
  const tune::SetupFacts& first = session.setups[0].facts;
  tune::SetupFacts facts = first;
  CHECK(tune::changed_facts(first, facts).empty());
  CHECK(tune::changes_in_brief(first, facts).empty());

  facts.bow.nocking_point_m = inches(0.5);
  facts.arrow.fletching = tune::Fletching::bare;
  const auto changed = tune::changed_facts(first, facts);
  REQUIRE(changed.size() == 2);
  CHECK(changed[0].what == "Nocking point above square");
  CHECK(changed[0].value == "1/2 in (12.7 mm), was 3/4 in (19 mm)");
  CHECK(changed[1].value == "bare, was fletched");
  CHECK(tune::changes_in_brief(first, facts) ==
        "nocking point 1/2 in (was 3/4 in), bare (was fletched)");

  tune::SetupFacts untold = first;
  untold.bow.brace_height_m.reset();
  CHECK(tune::changed_facts(first, untold)[0].value == "not told, was 7 1/2 in (190.5 mm)");
  CHECK(tune::changed_facts(untold, first)[0].value == "7 1/2 in (190.5 mm) (not told before)");
}

TEST_CASE("unit: the particulars name archer, bow and arrow, and leave out what is not known") {
  const auto lines = tune::particulars(test::sample_session().setups[0].facts);
  REQUIRE(lines.size() == 3);
  CHECK(lines[0] == "Archer: right-handed, cant 10 deg, draw 28 in (711.2 mm)");
  CHECK(lines[1].starts_with("Bow: Rook Hollow 45, 45 lb at 28 in, string flemish, 12 strands"));
  CHECK(lines[2] ==
        "Arrow: alder grey, fletched, spine 0.600 in deflection, shaft 31 in (787.4 mm), tip 125 "
        "gr (8.1 g)");
  CHECK(tune::particulars({}).empty());
  tune::SetupFacts odd;
  odd.draw_m = std::nan("");
  odd.bow.draw_weight_n = INFINITY;
  odd.arrow.spine = tune::SpineTold{tune::SpineConvention::wood_pounds, std::nan("")};
  CHECK(tune::fact_lines(odd).empty());
}
