// The hand-written files: what they may say, and every complaint with file, line and field.
#include <doctest/doctest.h>

#include <regex>
#include <string>

#include "nocktrail/arrow/setup_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/units/units.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using nocktrail::session::test::says;

namespace {

constexpr double kInch = units::kMetresPerInch;
constexpr double kGrain = units::kKilogramsPerGrain;

tune::SetupFacts facts(const std::string& toml, const tune::SetupFacts& before = {}) {
  return parse_facts(toml, "setup.toml", FactsKind::setup, before).facts;
}

std::string complaint(const std::string& toml, const tune::SetupFacts& before = {}) {
  try {
    parse_facts(toml, "session.toml", FactsKind::session, before);
  } catch (const BadInput& problem) {
    const std::string line = problem.what();
    CHECK(line.find('\n') == std::string::npos);
    CHECK(line.starts_with("session.toml: line "));
    return line;
  }
  return "no complaint";
}

// Every "# field = value" of the template, switched on.
std::string uncommented(const std::string& text) {
  return std::regex_replace(text, std::regex("(^|\n)# (\\w+ = |\\[clip)"), "$1$2");
}

}  // namespace

TEST_CASE("unit: an empty file tells nothing, and neither does the template") {
  const tune::SetupFacts none = facts("");
  CHECK(none.hand == Hand::unknown);
  CHECK_FALSE(none.bow.draw_weight_n);
  CHECK_FALSE(none.arrow.spine);
  const FactsTold told = parse_facts(session_template(), "t", FactsKind::session);
  CHECK(told.facts.hand == Hand::unknown);
  CHECK_FALSE(told.facts.cant_deg);
  CHECK_FALSE(told.facts.bow.nocking_point_m);
  CHECK(told.clips.empty());
}

TEST_CASE("unit: every field that the template offers is known, and comes out in SI") {
  const FactsTold told =
      parse_facts(uncommented(session_template()), "t", FactsKind::session, {}, {{"mine", 27.0}});
  CHECK(told.name == "spring set");
  const tune::SetupFacts& f = told.facts;
  CHECK(f.cant_deg == doctest::Approx(15.0));
  CHECK(f.notes == "indoors, soft butt at 8 m");
  CHECK(f.bow.name == "the yew longbow");
  CHECK(*f.bow.draw_weight_n == doctest::Approx(45.0 * units::kNewtonsPerPoundForce));
  CHECK(*f.bow.brace_height_m == doctest::Approx(7.25 * kInch));
  CHECK(*f.bow.brace_min_m == doctest::Approx(6.75 * kInch));
  CHECK(*f.bow.min_grains_per_pound == doctest::Approx(8.0));
  CHECK(*f.bow.nocking_point_m == doctest::Approx(0.625 * kInch));
  CHECK(*f.draw_m == doctest::Approx(28.0 * kInch));
  CHECK(f.arrow.spine->convention == tune::SpineConvention::deflection_in);
  CHECK(f.arrow.spine->value == doctest::Approx(0.5));
  CHECK(*f.arrow.arrow_length_m == doctest::Approx(31.75 * kInch));
  CHECK(*f.arrow.total_mass_kg == doctest::Approx(383.0 * kGrain));
  CHECK(*f.arrow.taper_length_m == doctest::Approx(9.0 * kInch));
  CHECK(f.camera.focal_35mm == doctest::Approx(26.0).epsilon(0.001));
  CHECK(f.camera.capture_fps == doctest::Approx(240.0));
  REQUIRE(told.clips.size() == 2);
  CHECK(told.clips[0].name == "2-lower/IMG_0021.mp4");
  CHECK(told.clips[0].cant_deg == doctest::Approx(5.0));
  CHECK(told.clips[1].dropped == "plucked");
}

TEST_CASE("unit: a set-up file of the effects command is taken as it is") {
  const tune::SetupFacts f = facts(arrow::setup_template());
  const arrow::Setup setup = arrow::parse_setup(arrow::setup_template(), "t");
  CHECK(*f.bow.draw_weight_n == doctest::Approx(setup.bow.draw_weight_n));
  CHECK(*f.bow.plate_offset_m == doctest::Approx(setup.bow.plate_offset_m));
  CHECK(*f.arrow.shaft_length_m == doctest::Approx(setup.arrow.shaft.length_m));
  CHECK(*f.arrow.mass_per_length_kg_per_m ==
        doctest::Approx(setup.arrow.shaft.mass_per_length_kg_per_m));
}

TEST_CASE("reference: the other ways to say spine and mass") {
  // Wooden pounds keep their convention; 20/64 in of 0.013 in wall at 71 GPa deflects 0.627 in
  // (beam formula with the span and load of ASTM F2031); 232 gr over 29 in are 8.0 gr/in.
  const tune::SetupFacts wood = facts("[arrow]\nwood_spine = \"50lb\"\n");
  CHECK(wood.arrow.spine->convention == tune::SpineConvention::wood_pounds);
  CHECK(wood.arrow.spine->value == doctest::Approx(50.0));
  CHECK(wood.arrow.groups == arrow::SpineGroups::pounds);
  const tune::SetupFacts tube = facts(
      "[arrow]\ndiameter = \"20/64in\"\nyoungs_modulus_gpa = 71\nwall = \"0.013in\"\n"
      "shaft_length = \"29in\"\nshaft_mass = \"232gr\"\n");
  CHECK(tube.arrow.spine->value == doctest::Approx(0.627).epsilon(1e-3));
  CHECK(*tube.arrow.mass_per_length_kg_per_m == doctest::Approx(8.0 * kGrain / kInch));
}

TEST_CASE("unit: a set-up inherits what it does not name") {
  const tune::SetupFacts first = facts(
      "hand = \"left\"\ncant = 10\nnotes = \"first\"\n[bow]\nnocking_point = \"5/8in\"\n"
      "brace_height = \"7in\"\n[arrow]\nfletching = \"fletched\"\n");
  const tune::SetupFacts second = facts("[bow]\nnocking_point = \"9/16in\"\n", first);
  CHECK(second.hand == Hand::left);
  CHECK(second.cant_deg == doctest::Approx(10.0));
  CHECK(second.notes.empty());
  CHECK(*second.bow.nocking_point_m == doctest::Approx(9.0 / 16.0 * kInch));
  CHECK(*second.bow.brace_height_m == doctest::Approx(7.0 * kInch));
  CHECK(second.arrow.fletching == tune::Fletching::fletched);
}

TEST_CASE("unit: trimming and a new tip carry length and mass along") {
  const tune::SetupFacts full = facts(
      "[arrow]\nshaft_length = \"31in\"\narrow_length = \"31.75in\"\nmass_per_length = "
      "\"8gr/in\"\ntip_mass = \"125gr\"\nnock_mass = \"10gr\"\ntotal_mass = \"383gr\"\n"
      "fletching = \"bare\"\n");
  const tune::SetupFacts trimmed = facts("[arrow]\nshaft_length = \"30.5in\"\n", full);
  CHECK(*trimmed.arrow.arrow_length_m == doctest::Approx(31.25 * kInch));
  CHECK(*trimmed.arrow.total_mass_kg == doctest::Approx(379.0 * kGrain));
  const tune::SetupFacts heavier = facts("[arrow]\ntip_mass = \"150gr\"\n", trimmed);
  CHECK(*heavier.arrow.total_mass_kg == doctest::Approx(404.0 * kGrain));
  CHECK(*heavier.arrow.arrow_length_m == doctest::Approx(31.25 * kInch));
  const tune::SetupFacts fletched = facts("[arrow]\nfletching = \"fletched\"\n", heavier);
  CHECK_FALSE(fletched.arrow.total_mass_kg);  // of feathers not weighed
  const tune::SetupFacts weighed = facts("[arrow]\nfletching_mass = \"12gr\"\n", heavier);
  CHECK(weighed.arrow.fletching == tune::Fletching::fletched);
  CHECK(*weighed.arrow.total_mass_kg == doctest::Approx(416.0 * kGrain));
  const tune::SetupFacts bare = facts("[arrow]\nfletching = \"bare\"\n", weighed);
  CHECK(*bare.arrow.total_mass_kg == doctest::Approx(404.0 * kGrain));
  const tune::SetupFacts told =
      facts("[arrow]\nshaft_length = \"30in\"\narrow_length = \"31in\"\ntotal_mass = \"401gr\"\n",
            heavier);
  CHECK(*told.arrow.arrow_length_m == doctest::Approx(31.0 * kInch));
  CHECK(*told.arrow.total_mass_kg == doctest::Approx(401.0 * kGrain));
}

TEST_CASE("rules: another shaft's length is not this one's, for what is cut cannot be put back") {
  const tune::SetupFacts first = facts(
      "[arrow]\nname = \"alder\"\nspine = \"0.500in\"\nshaft_length = \"29in\"\narrow_length = "
      "\"30in\"\ndiameter = \"0.30in\"\n");
  const tune::SetupFacts named = facts("[arrow]\nname = \"ash\"\n", first);
  CHECK_FALSE(named.arrow.shaft_length_m);
  CHECK_FALSE(named.arrow.arrow_length_m);
  CHECK_FALSE(named.arrow.spine);
  CHECK_FALSE(named.arrow.diameter_m);
  const tune::SetupFacts stiffer = facts("[arrow]\nspine = \"0.400in\"\n", first);
  CHECK_FALSE(stiffer.arrow.shaft_length_m);
  CHECK(stiffer.arrow.spine->value == doctest::Approx(0.4));
  const tune::SetupFacts measured =
      facts("[arrow]\nname = \"ash\"\nspine = \"0.400in\"\nshaft_length = \"30in\"\n", first);
  CHECK(*measured.arrow.shaft_length_m == doctest::Approx(30.0 * kInch));
  // Trimmed, it is the same one.
  CHECK(facts("[arrow]\nshaft_length = \"28.75in\"\n", first).arrow.spine);
}

TEST_CASE("unit: of another shaft nothing that was weighed before is kept") {
  const tune::SetupFacts first = facts(
      "[arrow]\nname = \"alder\"\nspine = \"0.500in\"\nshaft_length = \"31in\"\nmass_per_length = "
      "\"8gr/in\"\ntip_mass = \"125gr\"\nnock_mass = \"10gr\"\ntotal_mass = \"390gr\"\n");
  for (const char* other : {"[arrow]\nname = \"ash\"\n", "[arrow]\nspine = \"0.700in\"\n",
                            "[arrow]\nwood_spine = \"50lb\"\n"}) {
    INFO(other);
    const tune::SetupFacts now = facts(other, first);
    CHECK_FALSE(now.arrow.total_mass_kg);
    CHECK_FALSE(now.arrow.mass_per_length_kg_per_m);
    CHECK(*now.arrow.tip_mass_kg == doctest::Approx(125.0 * kGrain));
  }
  const tune::SetupFacts weighed = facts(
      "[arrow]\nname = \"ash\"\nmass_per_length = \"9gr/in\"\ntotal_mass = \"420gr\"\n", first);
  CHECK(*weighed.arrow.total_mass_kg == doctest::Approx(420.0 * kGrain));
  CHECK(weighed.arrow.mass_per_length_kg_per_m);
  // The same spine measured anew is the same shaft.
  CHECK(facts("[arrow]\nspine = \"0.505in\"\n", first).arrow.total_mass_kg);
}

TEST_CASE("unit: of another bow nothing that was told of the one before is kept") {
  const tune::SetupFacts before = facts(
      "[bow]\nname = \"ash\"\ndraw_weight = \"45lb\"\nbrace_height = \"7in\"\n"
      "brace_min = \"6in\"\nmin_grains_per_pound = 8\n");
  const tune::SetupFacts same = facts("[bow]\nname = \"ash\"\n", before);
  CHECK(same.bow.draw_weight_n.has_value());
  const tune::SetupFacts other = facts("[bow]\nname = \"yew\"\nbrace_height = \"6.5in\"\n", before);
  CHECK_FALSE(other.bow.draw_weight_n.has_value());
  CHECK_FALSE(other.bow.brace_min_m.has_value());
  CHECK_FALSE(other.bow.min_grains_per_pound.has_value());
  CHECK(other.bow.brace_height_m.value_or(0.0) == doctest::Approx(6.5 * 0.0254));
  // Named again it is what it was; capitals and blanks make no other bow.
  const tune::SetupFacts again = facts("[bow]\nname = \"Ash \"\n", other);
  CHECK(again.bow.min_grains_per_pound == 8.0);
  CHECK(again.bow.brace_min_m.has_value());
  CHECK(facts("[bow]\nname = \"Ash\"\n", before).bow.draw_weight_n.has_value());
}

TEST_CASE("unit: what a string weighs is of that string") {
  const tune::SetupFacts told = facts("[bow]\nstring = \"14 strands\"\nstring_mass = \"120gr\"\n");
  // 1 grain is 64.79891 mg (NIST Handbook 44, appendix C).
  CHECK(told.bow.string_mass_kg.value_or(0.0) == doctest::Approx(120.0 * 64.79891e-6));
  CHECK(facts("[bow]\nbrace_height = \"7in\"\n", told).bow.string_mass_kg ==
        told.bow.string_mass_kg);
  CHECK_FALSE(facts("[bow]\nstring = \"12 strands\"\n", told).bow.string_mass_kg);
  CHECK(complaint("[bow]\nstring_mass = \"12gr\"\n").find("30 to 400gr") != std::string::npos);
}

TEST_CASE("unit: a phone by name gives the focal length, unless that is told beside it") {
  const auto told = [](const std::string& toml, const tune::SetupFacts& before) {
    return parse_facts(toml, "t", FactsKind::setup, before, {{"old one", 27.0}, {"new one", 24.0}})
        .facts;
  };
  const tune::SetupFacts old_one = told("[camera]\nphone = \"old one\"\n", {});
  CHECK(old_one.camera.focal_35mm == doctest::Approx(27.0));
  const tune::SetupFacts new_one = told("[camera]\nphone = \"new one\"\n", old_one);
  CHECK(new_one.camera.focal_35mm == doctest::Approx(24.0));
  const tune::SetupFacts zoomed = told("[camera]\nphone = \"new one\"\nfocal_35mm = 48\n", new_one);
  CHECK(zoomed.camera.focal_35mm == doctest::Approx(48.0));
  CHECK(zoomed.camera.phone == "new one");
  // 26 mm: 1920 px over 1323.8 px (docs/measurement.md's worked figure) is 1.450 times as wide as
  // far.
  const tune::SetupFacts measured =
      told("[camera]\npicture_width = \"114 1/4in at 78 3/4in\"\n", new_one);
  CHECK(measured.camera.focal_35mm == doctest::Approx(26.0).epsilon(0.001));
  CHECK(measured.camera.phone.empty());
  CHECK(told("[camera]\nfocal_35mm = 30\n", new_one).camera.phone.empty());
  try {
    told("[camera]\nphone = \"nwe one\"\n", {});
    FAIL("no complaint");
  } catch (const BadInput& problem) {
    CHECK(says(problem.what(),
               "t: line 2: camera.phone: \"nwe one\" is not in your phones file; "
               "did you mean \"new one\"?"));
  }
}

TEST_CASE("unit: the phones file") {
  const session::test::Folder folder;
  CHECK(read_phones(folder / "none.toml").empty());
  CHECK(read_phones({}).empty());
  folder.write("phones.toml", "[\"old one\"]\nfocal_35mm = 27\n[new]\nfocal_35mm = 24.5\n");
  const Phones phones = read_phones(folder / "phones.toml");
  CHECK(phones.at("old one") == doctest::Approx(27.0));
  CHECK(phones.at("new") == doctest::Approx(24.5));
  folder.write("phones.toml", "[mine]\npicture_width = \"2.9m at 2m\"\n");
  CHECK(read_phones(folder / "phones.toml").at("mine") == doctest::Approx(26.0).epsilon(0.001));
  for (const char* wrong :
       {"[a]\n", "[a]\npicture_width = \"2.9m\"\n", "[a]\npicture_width = \"2m at 2.9m\"\n",
        "[a]\nfocal_35mm = 2\n", "[a]\nfocal = 26\n", "a = 26\n", "[a]\nfocal_35mm = nan\n"}) {
    folder.write("phones.toml", wrong);
    CHECK_THROWS_AS(read_phones(folder / "phones.toml"), BadInput);
  }
}

TEST_CASE("fault: misspelt fields name the line and the nearest known one") {
  struct Row {
    const char* toml;
    const char* line;
    const char* words;
  };
  for (const Row& row : std::initializer_list<Row>{
           {"hnad = \"right\"\n", "line 1: ", "hnad is not a known field; did you mean hand?"},
           {"\n\n[bow]\nbrace_hight = \"7in\"\n",
            "line 4: ", "bow.brace_hight is not a known field; did you mean bow.brace_height?"},
           {"[bow]\nknocking_point = \"1/2in\"\n", "line 2: ", "did you mean bow.nocking_point?"},
           {"[arow]\ntip_mass = \"125gr\"\n", "line 1: ", "did you mean arrow?"},
           {"[arrow]\nbrace_height = \"7in\"\n", "line 2: ", "did you mean bow.brace_height?"},
           {"shaft_length = \"30in\"\n", "line 1: ", "did you mean arrow.shaft_length?"},
           {"[camera]\nfocal = 26\n", "line 2: ", "did you mean camera.focal_35mm?"},
           {"[archer]\ndraw = \"28in\"\n", "line 2: ", "did you mean archer.draw_length?"},
           {"[clip.\"a.mp4\"]\ndropped = \"plucked\"\n", "line 2: ",
            "clip.\"a.mp4\".dropped is not a known field; did you mean clip.\"a.mp4\".drop?"}}) {
    CAPTURE(row.toml);
    const std::string line = complaint(row.toml);
    CAPTURE(line);
    CHECK(says(line, row.line));
    CHECK(says(line, row.words));
  }
}

TEST_CASE("fault: values out of range, of another kind or without a unit") {
  struct Row {
    const char* toml;
    const char* words;
  };
  for (const Row& row : std::initializer_list<Row>{
           {"[bow]\nbrace_height = \"72in\"\n",
            "line 2: bow.brace_height: 72in is not possible; "
            "give 4 to 11in"},
           {"[bow]\nbrace_height = \"7\"\n",
            "line 2: bow.brace_height: cannot read \"7\" as a "
            "length (the unit is missing)"},
           {"[bow]\nbrace_height = 7\n", "line 2: bow.brace_height must be text in quotes"},
           {"[bow]\nbrace_height = \"nan in\"\n", "line 2: bow.brace_height"},
           {"[bow]\ndraw_weight = \"450lb\"\n", "line 2: bow.draw_weight: 450lb is not possible"},
           {"[arrow]\n\ntip_mass = \"125lb\"\n", "line 3: arrow.tip_mass"},
           {"[arrow]\nspine = \"500in\"\n", "line 2: arrow.spine: 500in is not possible"},
           {"[arrow]\nfletching = \"feathers\"\n", "neither \"bare\" nor \"fletched\""},
           {"hand = \"rihgt\"\n", "line 1: hand: \"rihgt\" is neither"},
           {"hand = 1\n", "line 1: hand must be text in quotes"},
           {"cant = 95\n", "line 1: cant: 95 deg is not possible; give -90 to 90 deg"},
           {"cant = \"15in\"\n", "line 1: cant: cannot read \"15in\" as an angle"},
           {"cant = nan\n", "line 1: cant"},
           {"[camera]\nfocal_35mm = 5\n", "line 2: camera.focal_35mm: 5 mm is not possible"},
           {"[camera]\ncapture_fps = 0\n", "line 2: camera.capture_fps"},
           {"bow = \"yew\"\n", "line 1: bow must be a section: a line [bow]"},
           {"[clip.\"a.mp4\"]\ndrop = \"\"\n", "line 2: clip.\"a.mp4\".drop must give the reason"},
           {"[clip.\"a.mp4\"]\ndrop = true\n", "line 2: clip.\"a.mp4\".drop must be text"},
           {"[clip.\"a.mp4\"]\ncant = 100\n", "line 2: clip.\"a.mp4\".cant: 100 deg"},
           {"hand = \"right\n", "line 1, column"},
           {"draw_length = 28in\n", "text and measures stand in straight quotes"},
           {"cant = 1\ncant = 2\n", "line 2, column 8: this is told a second time"}}) {
    CAPTURE(row.toml);
    const std::string line = complaint(row.toml);
    CAPTURE(line);
    CHECK(says(line, row.words));
  }
}

TEST_CASE("fault: fields that contradict one another") {
  CHECK(says(complaint("[arrow]\nspine = \"0.5in\"\nwood_spine = \"50lb\"\n"),
             "line 3: arrow.wood_spine contradicts arrow.spine"));
  CHECK(says(complaint("[arrow]\nspine = \"0.5in\"\nyoungs_modulus_gpa = 71\n"),
             "line 3: arrow.youngs_modulus_gpa contradicts arrow.spine"));
  CHECK(says(complaint("[arrow]\nyoungs_modulus_gpa = 71\n"), "needs arrow.diameter"));
  CHECK(says(complaint("[arrow]\nwall = \"0.013in\"\n"), "belongs to arrow.youngs_modulus_gpa"));
  CHECK(says(complaint("[arrow]\nshaft_length = \"29in\"\nmass_per_length = \"8gr/in\"\n"
                       "shaft_mass = \"232gr\"\n"),
             "line 4: arrow.shaft_mass contradicts"));
  CHECK(says(complaint("[arrow]\nshaft_mass = \"232gr\"\n"), "needs arrow.shaft_length"));
  CHECK(says(complaint("[bow]\nbrace_min = \"8in\"\nbrace_max = \"7in\"\n"),
             "line 2: bow.brace_min: the range is upside down"));
  CHECK(says(complaint("[arrow]\nshaft_length = \"30in\"\narrow_length = \"29in\"\n"),
             "line 3: arrow.arrow_length: an arrow of 29in"));
  CHECK(says(
      complaint("[arrow]\nshaft_length = \"31in\"\nmass_per_length = \"8gr/in\"\ntip_mass = "
                "\"125gr\"\nnock_mass = \"10gr\"\nfletching = \"bare\"\ntotal_mass = \"683gr\"\n"),
      "arrow.total_mass: a total of 683gr is far more than the parts told, 383gr together"));
  // A taper, told or half told, is no way past that; nor one that is thicker than its shaft.
  for (const char* taper :
       {"taper_length = \"9in\"\n", "taper_length = \"9in\"\ntaper_end_diameter = \"0.27in\"\n"}) {
    CHECK(says(complaint(std::string("[arrow]\nshaft_length = \"31in\"\nmass_per_length = "
                                     "\"8gr/in\"\ntip_mass = \"125gr\"\nnock_mass = \"10gr\"\n"
                                     "diameter = \"0.30in\"\nfletching = \"bare\"\n"
                                     "total_mass = \"683gr\"\n") +
                         taper),
               "is far more than the parts told"));
  }
  CHECK(says(complaint("[arrow]\ndiameter = \"0.30in\"\ntaper_length = \"9in\"\n"
                       "taper_end_diameter = \"0.45in\"\n"),
             "is no taper of a shaft of"));
  CHECK(says(complaint("[arrow]\ntip_mass = \"300gr\"\ntotal_mass = \"250gr\"\n"),
             "line 3: arrow.total_mass: a total of 250gr is less than the parts told, 300gr"));
  CHECK(says(complaint("[arrow]\nfletching = \"bare\"\nfletching_mass = \"12gr\"\n"),
             "line 3: arrow.fletching_mass contradicts"));
  // What this file changed is to blame, not what was inherited.
  const tune::SetupFacts before = facts("[bow]\nbrace_min = \"7in\"\n");
  CHECK(says(complaint("[bow]\nbrace_max = \"6.5in\"\n", before), "line 2: bow.brace_max"));
}

TEST_CASE("fault: only session.toml names the session") {
  CHECK_THROWS_AS(parse_facts("name = \"x\"\n", "setup.toml", FactsKind::setup), BadInput);
}
