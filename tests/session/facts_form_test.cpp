#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_form.hpp"
#include "nocktrail/session/session.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

FactStands stands(const FactsForm& form, const std::string& field) {
  const auto all = form.clip.empty() ? fact_fields() : clip_fields();
  const auto found = std::find_if(all.begin(), all.end(),
                                  [&](const FactField& one) { return field == one.field; });
  return found == all.end() ? FactStands{}
                            : form.stands[static_cast<std::size_t>(found - all.begin())];
}

std::string fault_of(const FactsSaved& saved, const std::string& field) {
  for (const FactsSaved::Fault& fault : saved.faults) {
    if (fault.field == field) {
      return fault.words;
    }
  }
  return {};
}

const std::string kSession =
    "# ours, since May\nhand = \"right\" # hers\n\n[bow]\n# measured cold\nbrace_height = \"7 "
    "1/4in\"  "
    "# twice\nnocking_point = \"5/8in\"\n\n[clip.\"1-start/a.mp4\"]\ndrop = \"plucked\" # really\n";

void fill(const Folder& folder) {
  folder.write("session.toml", kSession);
  folder.write("1-start/a.mp4", "1");
  folder.write("2-lower/setup.toml", "[bow]\nnocking_point = \"9/16in\" # half a turn\n");
}

}  // namespace

TEST_CASE("unit: every field of the annotated file is in the form, and none but those") {
  // The template names every field; each that the form writes must be understood by the reader.
  const std::string all = session_template();
  for (const FactField& field : fact_fields()) {
    const std::string name =
        std::string(field.field).substr(std::string(field.field).find('.') + 1);
    INFO(field.field);
    CHECK(all.find(name + " = ") != std::string::npos);
  }
  const Folder folder;
  for (const FactField& field : fact_fields()) {
    const std::string name = field.field;
    // Those that need another one beside them or instead of them, or what is not here.
    if (name == "arrow.wall" || name == "arrow.youngs_modulus_gpa" || name == "arrow.shaft_mass" ||
        name == "camera.phone" || name == "camera.focal_35mm" || name == "arrow.taper_length" ||
        name == "arrow.taper_end_diameter" || name == "arrow.wood_spine" ||
        name == "arrow.fletching_mass" || name == "arrow.total_mass") {
      continue;
    }
    std::string value = field.example;
    value = value.substr(0, value.find('|'));
    const FactsSaved saved = save_facts(folder.path(), {}, ".", {{name, value, ""}});
    INFO(name << " = " << value);
    CHECK(saved.faults.empty());
    CHECK(saved.changed.empty());
    const auto form = facts_form(folder.path(), {}, ".");
    REQUIRE(form);
    CHECK(stands(*form, name).value == value);
  }
  CHECK(load(folder.path()).faults.empty());
}

TEST_CASE("unit: a form shows what each file says, and what holds where it says nothing") {
  const Folder folder;
  fill(folder);
  const auto first = facts_form(folder.path(), {}, ".");
  REQUIRE(first);
  CHECK(first->file == "session.toml");
  CHECK(first->setups == std::vector<std::string>{".", "1-start", "2-lower"});
  CHECK(stands(*first, "bow.brace_height").value == "7 1/4in");
  const auto lower = facts_form(folder.path(), {}, "2-lower");
  REQUIRE(lower);
  CHECK(stands(*lower, "bow.nocking_point").value == "9/16in");
  CHECK(stands(*lower, "bow.nocking_point").before == "5/8in");
  CHECK(stands(*lower, "bow.nocking_point").where == "the session");
  CHECK(stands(*lower, "bow.brace_height").value.empty());
  CHECK(stands(*lower, "bow.brace_height").before == "7 1/4in");
  CHECK_FALSE(facts_form(folder.path(), {}, "3-none"));
  CHECK(save_facts(folder.path(), {}, "../elsewhere", {{"hand", "left", ""}}).no_such_setup);
}

TEST_CASE("unit: a fact is changed in its place, and nothing else in the file") {
  const Folder folder;
  fill(folder);
  REQUIRE(save_facts(folder.path(), {}, ".",
                     {{"bow.brace_height", " 7,5in ", "7 1/4in"},
                      {"cant", "12,5", ""},
                      {"camera.focal_35mm", "26", ""},
                      {"notes", "first line\nsecond \"line\"", ""}})
              .faults.empty());
  const std::string text = content(folder / "session.toml");
  std::string expected = kSession;
  expected.replace(expected.find("\"7 1/4in\""), 9, "\"7,5in\"");
  CHECK(text == "notes = \"first line\\nsecond \\\"line\\\"\"\ncant = 12.5\n" + expected +
                    "\n[camera]\nfocal_35mm = 26\n");
  CHECK(content(folder / "session.toml.before") == kSession);
  const Plan plan = load(folder.path());
  CHECK(plan.faults.empty());
  CHECK(plan.setups[0].facts.cant_deg == 12.5);
  CHECK(plan.setups[0].facts.bow.brace_height_m.value_or(0.0) ==
        doctest::Approx(0.1905).epsilon(1e-9));  // an inch is 25.4 mm
  CHECK(plan.setups[0].clips[0].dropped == "plucked");
  // Taken back, its line goes; the comment stays.
  REQUIRE(save_facts(folder.path(), {}, "2-lower", {{"bow.nocking_point", "", "9/16in"}})
              .faults.empty());
  CHECK(content(folder / "2-lower/setup.toml") == "[bow]\n# half a turn\n");
}

TEST_CASE("unit: a weighed total does not outlive a change of its parts") {
  const Folder folder;
  const std::string text = "[arrow]\ntip_mass = \"125gr\"\ntotal_mass = \"410gr\"\n";
  folder.write("session.toml", text);
  const FactsSaved saved =
      save_facts(folder.path(), {}, ".", {{"arrow.tip_mass", "60gr", "125gr"}});
  REQUIRE(saved.faults.size() == 1);
  CHECK(saved.faults[0].field == "arrow.total_mass");
  CHECK(says(saved.faults[0].words, "weigh the arrow again"));
  CHECK(content(folder / "session.toml") == text);
  CHECK(save_facts(folder.path(), {}, ".",
                   {{"arrow.tip_mass", "60gr", "125gr"}, {"arrow.total_mass", "345gr", "410gr"}})
            .faults.empty());
  CHECK(save_facts(folder.path(), {}, ".",
                   {{"arrow.tip_mass", "70gr", "60gr"}, {"arrow.total_mass", "", "345gr"}})
            .faults.empty());
}

TEST_CASE(
    "unit: all slips of a form are said at once, each beside its field, and nothing is written") {
  const Folder folder;
  fill(folder);
  const FactsSaved saved = save_facts(folder.path(), {}, ".",
                                      {{"bow.brace_height", "72in", "7 1/4in"},
                                       {"arrow.tip_mass", "125", ""},
                                       {"camera.focal_35mm", "wide", ""},
                                       {"arrow.fletching", "feathers", ""},
                                       {"bow.name", "the ash bow", ""}});
  CHECK(saved.faults.size() == 4);
  CHECK(fault_of(saved, "bow.brace_height") == "72in is not possible; give 4 to 11in");
  CHECK_FALSE(fault_of(saved, "arrow.tip_mass").empty());
  CHECK_FALSE(fault_of(saved, "camera.focal_35mm").empty());
  CHECK_FALSE(fault_of(saved, "arrow.fletching").empty());
  CHECK(content(folder / "session.toml") == kSession);
  CHECK_FALSE(std::filesystem::exists(folder / "session.toml.before"));
  // What contradicts a set-up after it is said too.
  folder.write("2-lower/setup.toml", "[bow]\nbrace_max = \"7in\"\n");
  const FactsSaved later = save_facts(folder.path(), {}, ".", {{"bow.brace_min", "7 1/2in", ""}});
  CHECK_FALSE(later.faults.empty());
  CHECK(content(folder / "session.toml") == kSession);
}

TEST_CASE("fault: of two who change the same fact the later one is told, and nothing is lost") {
  const Folder folder;
  fill(folder);
  const auto seen = facts_form(folder.path(), {}, ".");
  REQUIRE(seen);
  REQUIRE(
      save_facts(folder.path(), {}, ".", {{"bow.brace_height", "7in", "7 1/4in"}}).changed.empty());
  const FactsSaved late = save_facts(
      folder.path(), {}, ".", {{"bow.brace_height", "7 1/2in", "7 1/4in"}, {"cant", "3", ""}});
  REQUIRE(late.changed.size() == 1);
  CHECK(late.changed[0].first == "bow.brace_height");
  CHECK(late.changed[0].second == "7in");
  CHECK(content(folder / "session.toml").find("cant") == std::string::npos);
  // Another fact than the other one's goes in beside it; the same value is nobody's quarrel.
  const FactsSaved beside =
      save_facts(folder.path(), {}, ".",
                 {{"bow.nocking_point", "1/2in", "5/8in"}, {"bow.brace_height", "7in", "7 1/4in"}});
  CHECK(beside.changed.empty());
  const std::string text = content(folder / "session.toml");
  CHECK(text.find("brace_height = \"7in\"  # twice") != std::string::npos);
  CHECK(text.find("nocking_point = \"1/2in\"") != std::string::npos);
}

TEST_CASE(
    "fault: a file that cannot be changed in place, or is no file of the session's own, stays") {
  const Folder folder;
  const Folder outside;
  outside.write("session.toml", "hand = \"right\"\n");
  std::filesystem::create_symlink(outside / "session.toml", folder / "session.toml");
  CHECK_THROWS_AS(save_facts(folder.path(), {}, ".", {{"hand", "left", "right"}}), BadInput);
  CHECK(content(outside / "session.toml") == "hand = \"right\"\n");
  const Folder inline_table;
  const std::string tight = "bow = { name = \"ash\" } # tight\n";
  inline_table.write("session.toml", tight);
  CHECK_THROWS_AS(save_facts(inline_table.path(), {}, ".", {{"bow.string", "14", ""}}), BadInput);
  CHECK(content(inline_table / "session.toml") == tight);
  // What it does not know stops it: mending that is its archer's.
  const Folder unknown;
  const std::string own = "hnad = \"right\"\n";
  unknown.write("session.toml", own);
  const FactsSaved saved = save_facts(unknown.path(), {}, ".", {{"cant", "3", ""}});
  CHECK(fault_of(saved, "").find("did you mean hand?") != std::string::npos);
  CHECK(content(unknown / "session.toml") == own);
  CHECK_THROWS_AS(save_facts(unknown.path(), {}, ".", {{"made_up", "yes", ""}}), BadInput);
  // A control character is nothing that people type.
  const Folder plain;
  CHECK_FALSE(save_facts(plain.path(), {}, ".", {{"bow.name", "a\x1b[2Jb", ""}}).faults.empty());
  CHECK_FALSE(std::filesystem::exists(plain / "session.toml"));
}

TEST_CASE("unit: the facts of one clip alone are a form of their own") {
  const Folder folder;
  fill(folder);
  folder.write("1-start/setup.toml", "# begun at nine\ncant = 12\n[camera]\nphone = \"hers\"\n");
  const ArcherFiles files = {{}, folder / "phones.toml"};
  folder.write("phones.toml", "[hers]\nfocal_35mm = 24\n");
  const auto form = facts_form(folder.path(), files, "1-start", "a.mp4");
  REQUIRE(form);
  CHECK(form->file == "1-start/setup.toml");
  CHECK(form->fault.empty());
  REQUIRE(form->stands.size() == clip_fields().size());
  CHECK(stands(*form, "cant").value.empty());
  CHECK(stands(*form, "cant").before == "12");
  CHECK(stands(*form, "cant").where == "1-start");
  CHECK(stands(*form, "hand").before == "right");
  CHECK(stands(*form, "hand").where == "the session");
  CHECK(stands(*form, "focal_35mm").before == "as of the phone hers");
  CHECK_FALSE(facts_form(folder.path(), files, "1-start", "b.mp4"));
  CHECK(save_facts(folder.path(), files, "1-start", {{"cant", "3", ""}}, "b.mp4").no_such_setup);

  // All of it is read back as this clip's alone.
  REQUIRE(save_facts(folder.path(), files, "1-start",
                     {{"hand", "left", ""},
                      {"cant", "-8 deg", ""},
                      {"focal_35mm", "48mm", ""},
                      {"capture_fps", "120 fps", ""}},
                     "a.mp4")
              .faults.empty());
  const Plan plan = load(folder.path(), files);
  CHECK(plan.faults.empty());
  CHECK(plan.setups[0].facts.hand == Hand::right);
  const PlannedClip& clip = plan.setups[0].clips[0];
  CHECK(clip.hand == Hand::left);
  CHECK(clip.cant_deg == -8.0);
  CHECK(clip.focal_35mm == 48.0);
  CHECK(clip.capture_fps == 120.0);
  CHECK(clip.dropped == "plucked");
  CHECK(content(folder / "session.toml") == kSession);
  CHECK(content(folder / "1-start/setup.toml").starts_with("# begun at nine\ncant = 12\n"));

  // Slips are said beside their fields, and nothing is written.
  const std::string before = content(folder / "1-start/setup.toml");
  const FactsSaved slips = save_facts(
      folder.path(), files, "1-start",
      {{"cant", "400", "-8 deg"}, {"focal_35mm", "two", "48"}, {"hand", "both", "left"}}, "a.mp4");
  CHECK(fault_of(slips, "cant").find("is not possible") != std::string::npos);
  CHECK(fault_of(slips, "focal_35mm") == "is a plain number here, such as 26");
  CHECK(fault_of(slips, "hand").find("neither") != std::string::npos);
  CHECK(content(folder / "1-start/setup.toml") == before);
  // Nothing of the set-up's own, nor of a shot alone.
  CHECK_THROWS_AS(save_facts(folder.path(), files, "1-start", {{"notes", "x", ""}}, "a.mp4"),
                  BadInput);
  // Somebody else was first.
  CHECK(save_facts(folder.path(), files, "1-start", {{"cant", "4", "12"}}, "a.mp4")
            .changed.at(0)
            .second == "-8 deg");
}

TEST_CASE("unit: what session.toml tells of a clip is changed there") {
  const Folder folder;
  folder.write("1-start/a.mp4", "1");
  folder.write("session.toml", "[clip.\"1-start/a.mp4\"]\ncant = 5 # by the protractor\n");
  const auto form = facts_form(folder.path(), {}, "1-start", "a.mp4");
  REQUIRE(form);
  CHECK(form->file == "session.toml");
  CHECK(stands(*form, "cant").value == "5");
  REQUIRE(save_facts(folder.path(), {}, "1-start", {{"cant", "6", "5"}}, "a.mp4").faults.empty());
  CHECK(content(folder / "session.toml") ==
        "[clip.\"1-start/a.mp4\"]\ncant = 6 # by the protractor\n");
  // Told twice already: what stands elsewhere is shown, and not contradicted from here.
  folder.write("1-start/setup.toml", "[clip.\"a.mp4\"]\nhand = \"left\"\n");
  const auto both = facts_form(folder.path(), {}, "1-start", "a.mp4");
  REQUIRE(both);
  CHECK(both->file == "1-start/setup.toml");
  CHECK(stands(*both, "cant").before == "6");
  CHECK(stands(*both, "cant").where == "the session");
  CHECK(fault_of(save_facts(folder.path(), {}, "1-start", {{"cant", "9", ""}}, "a.mp4"), "cant") ==
        "is told of this clip in session.toml, too: change it there");
  CHECK(load(folder.path()).faults.empty());
}

TEST_CASE("unit: the picture's width is one fact, by whichever of its fields it is told") {
  const Folder folder;
  folder.write("session.toml",
               "[camera]\nfocal_35mm = 26\n[clip.\"1-start/a.mp4\"]\nfocal_35mm = 40\n");
  folder.write("1-start/a.mp4", "1");
  folder.write("1-start/setup.toml", "[camera]\npicture_width = \"2.5m at 2m\"\n");
  folder.write("2-lower/setup.toml", "notes = \"lower\"\n");
  const auto first = facts_form(folder.path(), {}, "1-start");
  REQUIRE(first);
  CHECK(stands(*first, "camera.picture_width").value == "2.5m at 2m");
  const auto second = facts_form(folder.path(), {}, "2-lower");
  REQUIRE(second);
  CHECK(stands(*second, "camera.picture_width").before == "2.5m at 2m");
  CHECK(stands(*second, "camera.focal_35mm").before.empty());  // 26 holds no longer
  // Told of the clip where it is written, by the other field.
  const FactsSaved saved =
      save_facts(folder.path(), {}, "1-start", {{"picture_width", "2.9m at 2m", ""}}, "a.mp4");
  CHECK(fault_of(saved, "picture_width").find("tell the same") != std::string::npos);
  // By hand, two files that disagree over a clip are a slip.
  folder.write("1-start/setup.toml", "[clip.\"a.mp4\"]\npicture_width = \"2.9m at 2m\"\n");
  const Plan plan = load(folder.path());
  REQUIRE(plan.faults.size() == 1);
  CHECK(plan.faults.front().find("contradicts the picture's width") != std::string::npos);
}
