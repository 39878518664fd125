#include "nocktrail/units/units.hpp"

#include <doctest/doctest.h>

#include <string>

#include "nocktrail/error.hpp"

namespace units = nocktrail::units;

namespace {

std::string message_of(auto&& call) {
  try {
    call();
  } catch (const nocktrail::BadInput& error) {
    return error.what();
  }
  return {};
}

}  // namespace

TEST_CASE("unit: how wide a picture is, and from how far") {
  CHECK(units::parse_picture_width("2.9m at 2m", "f") == doctest::Approx(1.45));
  CHECK(units::parse_picture_width("290 cm from 2000mm", "f") == doctest::Approx(1.45));
  CHECK(units::parse_picture_width(" 114 1/2in@79in ", "f") == doctest::Approx(114.5 / 79.0));
  CHECK(units::parse_picture_width("2.9m\xc2\xa0"
                                   "AT 2m",
                                   "f") == doctest::Approx(1.45));
  for (const char* wrong :
       {"", "2.9m", "2.9 at 2", "2.9m at", "at 2m", "2.9m at 0m", "-1m at 2m", "2.9m 2m",
        "2.9m at 2m at 3m", "2m at 2.9m", "2.9in at 2m", "9m at 2m"}) {
    CAPTURE(wrong);
    CHECK_THROWS_AS(units::parse_picture_width(wrong, "f"), nocktrail::BadInput);
  }
}

// The definitions of the inch, grain, pound and foot: international yard and pound agreement of
// 1959, as in NIST Special Publication 811, appendix B.
TEST_CASE("reference: SP 811 conversion factors") {
  CHECK(units::parse_length_m("1in", "f") == doctest::Approx(0.0254).epsilon(1e-15));
  CHECK(units::parse_mass_kg("1gr", "f") == doctest::Approx(6.479891e-5).epsilon(1e-15));
  CHECK(units::parse_mass_kg("7000gr", "f") == doctest::Approx(0.45359237).epsilon(1e-14));
  CHECK(units::parse_force_n("1lb", "f") == doctest::Approx(4.448222).epsilon(1e-7));
  CHECK(units::parse_speed_mps("1fps", "f") == doctest::Approx(0.3048).epsilon(1e-15));
  CHECK(units::kNewtonsPerPoundForce ==
        doctest::Approx(units::kKilogramsPerPound * units::kStandardGravity).epsilon(1e-14));
}

TEST_CASE("unit: blanks, fractions and every unit are read") {
  CHECK(units::parse_length_m(" 76.2 cm ", "f") == doctest::Approx(0.762));
  CHECK(units::parse_length_m("762mm", "f") == doctest::Approx(0.762));
  CHECK(units::parse_length_m("5/16in", "f") == doctest::Approx(0.0079375));
  CHECK(units::parse_length_m("28 1/2in", "f") == doctest::Approx(28.5 * 0.0254));
  CHECK(units::parse_length_m("-1/32in", "f") == doctest::Approx(-0.0254 / 32));
  CHECK(units::parse_length_m("-1 1/2in", "f") == doctest::Approx(-1.5 * 0.0254));
  // Neither 1 1/2 nor half of 1.1 is guessed at.
  for (const char* slip : {"1.1/2in", "1,1/2in", "28 1.5/16in", "28.5 1/2in", "30 1/2.5in"}) {
    CHECK_THROWS_AS(units::parse_length_m(slip, "f"), nocktrail::BadInput);
  }
  CHECK(units::parse_force_n("200N", "f") == doctest::Approx(200.0));
  CHECK(units::parse_speed_mps("180 ft/s", "f") == doctest::Approx(54.864));
  CHECK(units::parse_mass_per_length_kg_per_m("8gr/in", "f") ==
        doctest::Approx(8 * 6.479891e-5 / 0.0254));
}

TEST_CASE("unit: what people write besides is read, and what could mean two things is not") {
  for (const char* inches :
       {"30.5in", "30,5in", "30.5inches", "30.5 inch", "30.5\"", "30.5″", "30.5”"}) {
    CAPTURE(inches);
    CHECK(units::parse_length_m(inches, "f") == doctest::Approx(30.5 * 0.0254));
  }
  CHECK(units::parse_length_m("-0,25in", "f") == doctest::Approx(-0.25 * 0.0254));
  CHECK(units::parse_length_m("12yd", "f") == doctest::Approx(10.9728));  // SP 811: 0.9144 m
  CHECK(units::parse_mass_kg("125 grains", "f") == units::parse_mass_kg("125gr", "f"));
  CHECK(units::parse_force_n("45lbs", "f") == units::parse_force_n("45lb", "f"));
  for (const char* degrees : {"12", "12deg", "12 deg", "12 degrees", "12°"}) {
    CHECK(units::parse_angle_deg(degrees, "f") == 12.0);
  }
  CHECK(units::parse_angle_deg("-7,5 deg", "f") == -7.5);
  for (const char* unclear : {"1,250gr", "1,2,3gr", "1.5,2gr", ",5gr", "12,gr"}) {
    CAPTURE(unclear);
    CHECK_THROWS_AS(units::parse_mass_kg(unclear, "f"), nocktrail::BadInput);
  }
  CHECK_THROWS_AS(units::parse_angle_deg("12in", "f"), nocktrail::BadInput);
}

TEST_CASE("unit: shafts are sold by thousandths of an inch, bows by kilograms, too") {
  CHECK(nocktrail::units::parse_deflection_m("500", "spine") == doctest::Approx(0.0127));
  CHECK(nocktrail::units::parse_deflection_m("0.500in", "spine") == doctest::Approx(0.0127));
  for (const char* text : {"0.5", "50", "5000", "500lb", "500 450"}) {
    CAPTURE(text);
    CHECK_THROWS_AS(nocktrail::units::parse_deflection_m(text, "spine"), nocktrail::BadInput);
  }
  CHECK(nocktrail::units::parse_force_n("20kg", "draw_weight") ==
        doctest::Approx(196.133));  // 9.80665 N each, exact
}

TEST_CASE("unit: what a phone's keyboard makes of it is read as it was meant") {
  for (const char* inches : {"30½in", "30 ½ in", "30 1⁄2in", "30 1/2 in", "30 1/2 “", "30.5''",
                             "30.5 In", "30.5 INCHES", "30.5in."}) {
    CAPTURE(inches);
    CHECK(units::parse_length_m(inches, "f") == doctest::Approx(30.5 * 0.0254));
  }
  CHECK(units::parse_length_m("−1/16in", "f") == doctest::Approx(-0.0254 / 16));
  CHECK(units::parse_angle_deg("−15", "f") == -15.0);
  CHECK(units::parse_length_m("12 yards", "f") == doctest::Approx(10.9728));
  CHECK(units::parse_length_m("12 metres", "f") == 12.0);
  CHECK(units::parse_mass_kg("125GR", "f") == units::parse_mass_kg("125gr", "f"));
  for (const char* pounds : {"45#", "45 pounds", "45 Lb", "45LB"}) {
    CHECK(units::parse_force_n(pounds, "f") == units::parse_force_n("45lb", "f"));
  }
  CHECK(units::parse_mass_per_length_kg_per_m("8gpi", "f") ==
        units::parse_mass_per_length_kg_per_m("8gr/in", "f"));
  CHECK(message_of([] {
          units::parse_length_m("0,500in", "arrow.spine");
        }).find("write a point before decimals") != std::string::npos);
}

TEST_CASE("unit: what is printed reads back") {
  for (const double metres : {0.0007, 0.1905, 0.7366, 20.0}) {
    for (const auto unit : {units::LengthUnit::in, units::LengthUnit::mm, units::LengthUnit::cm,
                            units::LengthUnit::m}) {
      CHECK(units::parse_length_m(units::format_length(metres, unit, 15), "f") ==
            doctest::Approx(metres).epsilon(1e-13));
    }
  }
  CHECK(units::format_length(0.762, units::LengthUnit::in) == "30in");
  CHECK(units::format_force(200.0, units::ForceUnit::newton) == "200N");
  CHECK(units::format_speed(54.864, units::SpeedUnit::fps) == "180fps");
  CHECK(units::format_speed(54.864, units::SpeedUnit::mps) == "54.864m/s");
  CHECK(units::parse_mass_kg(units::format_mass(0.0081, units::MassUnit::gr, 15), "f") ==
        doctest::Approx(0.0081).epsilon(1e-13));
  CHECK(units::parse_mass_per_length_kg_per_m(
            units::format_mass_per_length(0.02, units::MassPerLengthUnit::g_per_m), "f") ==
        doctest::Approx(0.02));
}

TEST_CASE("fault: newtons typed for pounds are not taken for a bow that nearly nobody draws") {
  CHECK(units::parse_draw_weight_n("45lb", "f") == units::parse_force_n("45lb", "f"));
  CHECK(units::parse_draw_weight_n("200N", "f") == 200.0);
  CHECK(units::parse_draw_weight_n("18lb", "f") == units::parse_force_n("18lb", "f"));
  for (const char* text : {"85N", "45 N", "99.9N"}) {
    CAPTURE(text);
    CHECK_THROWS_AS(units::parse_draw_weight_n(text, "f"), nocktrail::BadInput);
  }
  CHECK(message_of([] { units::parse_draw_weight_n("85N", "bow.draw_weight"); }) ==
        "bow.draw_weight: 85N is 19.1lb, less than nearly any bow draws; write it in pounds, 85lb "
        "or 19.1lb, whichever it is");
}

TEST_CASE("fault: missing, wrong and senseless quantities name the field") {
  CHECK(message_of([] { units::parse_length_m("29", "arrow.shaft_length"); }) ==
        "arrow.shaft_length: cannot read \"29\" as a length (the unit is missing); write a number "
        "and a unit, for example 30in, 762mm or 0.762m");
  for (const char* text : {"", "in", "29lb", "nan in", "inf in", "1e999in", "29 in in", "1/0in",
                           "--3in", "29in/s", "2 9in"}) {
    CAPTURE(text);
    CHECK_THROWS_AS(units::parse_length_m(text, "f"), nocktrail::BadInput);
  }
  CHECK_THROWS_AS(units::parse_mass_kg("0.5lb", "f"), nocktrail::BadInput);
  CHECK_THROWS_AS(units::parse_force_n("20m", "f"), nocktrail::BadInput);
}

TEST_CASE("fault: a message that quotes a line break or an escape stays one line") {
  const std::string message =
      message_of([] { units::parse_length_m("12\n\x1b[2J\xC2\x9Bin", "f"); });
  CHECK(message.find("12??[2J?in") != std::string::npos);
}
