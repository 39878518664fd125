// What is found in a folder, before any clip is opened.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <string>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/units/units.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

std::vector<std::string> names(const PlannedSetup& setup) {
  std::vector<std::string> all;
  for (const PlannedClip& clip : setup.clips) {
    all.push_back(clip.path.filename().string());
  }
  return all;
}

}  // namespace

TEST_CASE("unit: names are in natural order") {
  CHECK(natural_less("2-trim", "10-trim"));
  CHECK_FALSE(natural_less("10-trim", "2-trim"));
  CHECK(natural_less("a", "b"));
  CHECK(natural_less("IMG_0009.mp4", "IMG_0010.mp4"));
  CHECK(natural_less("IMG_9.mp4", "IMG_0010.mp4"));
  CHECK(natural_less("3", "3-b"));
  CHECK(natural_less("x99999999999999999999999", "x100000000000000000000000"));
  for (const char* name : {"", "7", "a7b", "007"}) {
    CHECK_FALSE(natural_less(name, name));
  }
  CHECK(natural_less("01", "1") != natural_less("1", "01"));
}

TEST_CASE("unit: a plain folder is one set-up; other files and hidden ones are passed over") {
  const Folder folder;
  folder.write("b.MP4", "1");
  folder.write("a.mov", "2");
  folder.write(".half.mp4", "3");
  folder.write("notes.txt", "4");
  folder.write("truth.json", "5");
  folder.write("nocktrail-results/old.mp4", "6");
  folder.write("session.toml", "# mine\nname = \"evening\"\nhand = \"left\"\n");
  const Plan plan = load(folder.path());
  CHECK(plan.name == "evening");
  REQUIRE(plan.setups.size() == 1);
  CHECK(plan.setups[0].name == ".");
  CHECK(plan.setups[0].facts.hand == Hand::left);
  CHECK(names(plan.setups[0]) == std::vector<std::string>{"a.mov", "b.MP4"});
  CHECK(plan.messages.empty());
  CHECK(plan.faults.empty());
}

TEST_CASE("unit: sub-folders are set-ups in order, each from the one before") {
  const Folder folder;
  folder.write("session.toml", "[bow]\nnocking_point = \"5/8in\"\nbrace_height = \"7in\"\n");
  folder.write("1-start/a.mp4", "1");
  folder.write("2-lower/b.mp4", "2");
  folder.write("2-lower/setup.toml", "notes = \"down\"\n[bow]\nnocking_point = \"9/16in\"\n");
  folder.write("10-brace/setup.toml", "[bow]\nbrace_height = \"7.25in\"\n");
  folder.write("photos/x.jpg", "3");
  const Plan plan = load(folder.path());
  REQUIRE(plan.setups.size() == 3);
  CHECK(plan.name == folder.path().filename().string());
  CHECK(plan.setups[0].name == "1-start");
  CHECK(plan.setups[1].name == "2-lower");
  CHECK(plan.setups[2].name == "10-brace");
  CHECK(plan.setups[2].clips.empty());
  constexpr double kInch = units::kMetresPerInch;
  CHECK(*plan.setups[0].facts.bow.nocking_point_m == doctest::Approx(0.625 * kInch));
  CHECK(*plan.setups[2].facts.bow.nocking_point_m == doctest::Approx(0.5625 * kInch));
  CHECK(*plan.setups[2].facts.bow.brace_height_m == doctest::Approx(7.25 * kInch));
  CHECK(plan.setups[1].facts.notes == "down");
  CHECK(plan.setups[2].facts.notes.empty());
}

TEST_CASE("fault: clips that belong to no set-up are named, one line each") {
  const Folder folder;
  folder.write("1-start/a.mp4", "1");
  folder.write("stray.mp4", "2");
  folder.write("1-start/deeper/lost.mp4", "3");
  const Plan plan = load(folder.path());
  REQUIRE(plan.setups.size() == 1);
  CHECK(names(plan.setups[0]) == std::vector<std::string>{"a.mp4"});
  REQUIRE(plan.messages.size() == 2);
  CHECK(any_says(plan.messages, "stray.mp4: belongs to no set-up"));
  CHECK(any_says(plan.messages, "deeper/lost.mp4: belongs to no set-up"));
}

TEST_CASE("fault: a file of facts under nearly its name is named, not passed over") {
  const Folder folder;
  folder.write("Session.toml", "hand = \"left\"\n");
  folder.write("1-start/a.mp4", "1");
  folder.write("1-start/setup.toml.txt", "cant = 10\n");
  folder.write("1-start/notes.txt", "wind from the left\n");
  const Plan plan = load(folder.path());
  REQUIRE(plan.messages.size() == 2);
  CHECK(any_says(plan.messages, "Session.toml: is not read"));
  CHECK(any_says(plan.messages, "setup.toml.txt: is not read"));
}

TEST_CASE("unit: clips are overruled from either file") {
  const Folder folder;
  folder.write("session.toml",
               "hand = \"right\"\n[camera]\nfocal_35mm = 26\n[clip.\"a.mp4\"]\ndrop = "
               "\"plucked\"\n[clip.\"2-b/same.mp4\"]\nfocal_35mm = 52\n");
  folder.write("1-a/a.mp4", "1");
  folder.write("1-a/same.mp4", "2");
  folder.write("1-a/setup.toml", "[clip.\"same.mp4\"]\nhand = \"left\"\ncant = -7\n");
  folder.write("2-b/same.mp4", "3");
  const Plan plan = load(folder.path());
  CHECK(plan.messages.empty());
  CHECK(plan.faults.empty());
  CHECK(plan.setups[0].clips[0].dropped == "plucked");
  CHECK(plan.setups[0].clips[1].hand == Hand::left);
  CHECK(plan.setups[0].clips[1].cant_deg == doctest::Approx(-7.0));
  CHECK(plan.setups[0].clips[1].focal_35mm == doctest::Approx(26.0));
  CHECK(plan.setups[1].clips[0].focal_35mm == doctest::Approx(52.0));
  CHECK(plan.setups[1].clips[0].hand == Hand::unknown);
}

TEST_CASE("unit: one shot of a clip is left out, from either file") {
  const Folder folder;
  folder.write("session.toml",
               "[clip.\"1-a/same.mp4#3\"]\ndrop = \"slipped\"\n"
               "[clip.\"take #2.mp4\"]\ndrop = \"all of it\"\n");
  folder.write("1-a/setup.toml", "[clip.\"same.mp4#2\"]\ndrop = \"plucked\"\n");
  folder.write("1-a/same.mp4", "1");
  folder.write("1-a/take #2.mp4", "2");
  folder.write("2-b/same.mp4", "3");
  const Plan plan = load(folder.path());
  CHECK(plan.messages.empty());
  CHECK(plan.faults.empty());
  const std::map<int, std::string> two = {{2, "plucked"}, {3, "slipped"}};
  CHECK(plan.setups[0].clips[0].dropped.empty());
  CHECK(plan.setups[0].clips[0].dropped_shots == two);
  CHECK(plan.setups[0].clips[1].dropped == "all of it");
  CHECK(plan.setups[1].clips[0].dropped_shots.empty());

  // Of one shot nothing else can be told.
  folder.write("1-a/setup.toml", "[clip.\"same.mp4#2\"]\ncant = 4\n");
  const Plan refused = load(folder.path());
  REQUIRE(refused.faults.size() == 1);
  CHECK(refused.faults[0].find("cant is not a known field") != std::string::npos);
}

TEST_CASE("fault: an overruled clip that is not there, or not one alone") {
  const Folder folder;
  folder.write("session.toml",
               "[clip.\"IMG_7.mp4\"]\ndrop = \"plucked\"\n[clip.\"same.mp4\"]\ncant = 3\n");
  folder.write("1-a/IMG_07.mp4", "1");
  folder.write("1-a/same.mp4", "2");
  folder.write("2-b/same.mp4", "3");
  const Plan plan = load(folder.path());
  REQUIRE(plan.messages.size() == 1);
  CHECK(says(plan.messages[0], "session.toml: line 1: "));
  CHECK(says(plan.messages[0], "there is no such clip; did you mean IMG_07.mp4?"));
  REQUIRE(plan.faults.size() == 1);
  CHECK(says(plan.faults[0], "line 3: "));
  CHECK(says(plan.faults[0], "write [clip.\"1-a/same.mp4\"]"));
}

TEST_CASE("fault: two files that contradict one another over a clip") {
  const Folder folder;
  folder.write("session.toml", "[clip.\"a.mp4\"]\ncant = 3\n");
  folder.write("1-a/a.mp4", "1");
  folder.write("1-a/setup.toml", "[clip.\"a.mp4\"]\ncant = 5\n");
  const Plan plan = load(folder.path());
  REQUIRE(plan.faults.size() == 1);
  CHECK(says(plan.faults[0], "session.toml: line 1: "));
  CHECK(says(plan.faults[0], "cant"));
}

TEST_CASE("fault: the faults of all hand-written files are named in one run") {
  const Folder folder;
  folder.write("session.toml", "hnad = \"right\"\n");
  folder.write("1-a/setup.toml", "[bow]\nbrace_hight = \"7in\"\n");
  folder.write("2-b/setup.toml", "[bow\n");
  const Plan plan = load(folder.path());
  REQUIRE(plan.faults.size() == 3);
  CHECK(any_says(plan.faults, "session.toml: line 1: hnad"));
  CHECK(any_says(plan.faults, "1-a/setup.toml: line 2: bow.brace_hight"));
  CHECK(any_says(plan.faults, "2-b/setup.toml: line 1"));
}

TEST_CASE("fault: a folder that is none") {
  const Folder folder;
  folder.write("file.mp4", "1");
  CHECK_THROWS_AS(load(folder / "missing"), BadInput);
  CHECK_THROWS_AS(load(folder / "file.mp4"), BadInput);
}

TEST_CASE("fault: a link to a folder makes one message, whatever it leads to") {
  const Folder folder;
  folder.write("s/1-start/a.mp4", "-1.0");
  folder.write("far/deep/deeper/b.mp4", "-2.0");
  folder.write("far/c.mp4", "-2.0");
  fs::create_directory_symlink("/", folder / "s/root");
  fs::create_directory_symlink("../far", folder / "s/2-far");
  fs::create_directory_symlink("..", folder / "s/1-start/round");
  const Plan plan = load(folder / "s");
  REQUIRE(plan.setups.size() == 1);
  CHECK(plan.setups[0].clips.size() == 1);
  CHECK(plan.messages.size() == 2);
  CHECK(any_says(plan.messages, "root: is a link to a folder and is left out"));
  CHECK(any_says(plan.messages, "2-far: is a link to a folder and is left out"));
}

TEST_CASE("fault: many stray clips are counted, and some of them named") {
  const Folder folder;
  folder.write("1-start/a.mp4", "-1.0");
  for (int i = 0; i < 40; ++i) {
    folder.write("1-start/old/" + std::to_string(i) + ".mp4", "-1.0");
  }
  const Plan plan = load(folder.path());
  CHECK(plan.messages.size() == 6);
  CHECK(any_says(plan.messages, "35 more clips there belong to no set-up"));
}

TEST_CASE(
    "unit: a profile tells what the session leaves open, and nothing of another bow or arrow") {
  const Folder folder;
  folder.write("a.mp4", "x");
  const ArcherFiles archer{folder / "own/profile.toml", folder / "own/phones.toml"};
  folder.write("own/phones.toml", "[\"pocket\"]\nfocal_35mm = 25\n");
  folder.write("own/profile.toml",
               "hand = \"left\"\ncant = -12\ntarget_distance = \"12m\"\n"
               "[bow]\nname = \"yew\"\ndraw_weight = \"45lb\"\nmin_grains_per_pound = 8\n"
               "[arrow]\nname = \"ash\"\narrow_length = \"31in\"\ntotal_mass = \"500gr\"\n"
               "[camera]\nphone = \"pocket\"\n");
  const auto facts_with = [&](const std::string& session) {
    folder.write("session.toml", session);
    const Plan plan = load(folder.path(), archer);
    REQUIRE(plan.faults.empty());
    REQUIRE(plan.messages.size() == 1);
    CHECK(says(plan.messages.front(), "profile.toml: your profile tells what"));
    return plan.setups.front().facts;
  };

  const tune::SetupFacts all = facts_with("");
  CHECK(all.hand == Hand::left);
  CHECK(all.cant_deg == -12.0);
  CHECK(all.target_distance_m == 12.0);
  CHECK(all.bow.name == "yew");
  CHECK(all.arrow.total_mass_kg.has_value());
  CHECK(all.camera.focal_35mm == 25.0);

  // The folder's own facts outrank it, one by one.
  const tune::SetupFacts own =
      facts_with("hand = \"right\"\n[bow]\nnocking_point = \"5/8in\"\n[camera]\nfocal_35mm = 28\n");
  CHECK(own.hand == Hand::right);
  CHECK(own.cant_deg == -12.0);
  CHECK(own.bow.min_grains_per_pound == 8.0);
  CHECK(own.bow.nocking_point_m.has_value());
  CHECK(own.camera.focal_35mm == 28.0);

  // The weight of another bow and the mass of another arrow would make a false limit.
  const tune::SetupFacts bow = facts_with("[bow]\nname = \"osage\"\n");
  CHECK_FALSE(bow.bow.draw_weight_n.has_value());
  CHECK_FALSE(bow.bow.min_grains_per_pound.has_value());
  CHECK(bow.arrow.name == "ash");
  for (const char* other : {"name = \"pine\"", "shaft_length = \"30in\"", "spine = \"0.5in\"",
                            "arrow_length = \"29in\"", "total_mass = \"300gr\""}) {
    CAPTURE(other);
    const tune::SetupFacts arrow = facts_with(fmt::format("[arrow]\n{}\n", other));
    CHECK(arrow.bow.name == "yew");
    CHECK(arrow.arrow.name != "ash");
    CHECK((arrow.arrow.total_mass_kg.has_value() ==
           (std::string(other) == "total_mass = \"300gr\"")));
  }
  // Fletched or bare is no other arrow.
  CHECK(facts_with("[arrow]\nfletching = \"fletched\"\n").arrow.name == "ash");
}

TEST_CASE("fault: slips of a profile are named, and what only a session may say is refused in it") {
  const Folder folder;
  folder.write("a.mp4", "x");
  const ArcherFiles archer{folder / "own/profile.toml", {}};
  CHECK(load(folder.path(), archer).faults.empty());  // no profile is no fault
  for (const char* slip :
       {"hnad = \"left\"", "notes = \"x\"", "accept_nock_height = \"x\"", "name = \"x\"",
        "[clip.\"a.mp4\"]\ndrop = \"x\"", "cant = 400", "[camera]\nphone = \"none\"",
        "hand =", "[arrow]\nfletching = \"fletched\"", "[arrow]\nfletching_mass = \"12gr\""}) {
    CAPTURE(slip);
    folder.write("own/profile.toml", slip);
    const Plan plan = load(folder.path(), archer);
    REQUIRE(plan.faults.size() == 1);
    CHECK(says(plan.faults.front(), "profile.toml"));
    CHECK(plan.faults.front().find('\n') == std::string::npos);
  }
}
