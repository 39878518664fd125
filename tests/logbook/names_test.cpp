#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using test::complaint;
using test::says;

namespace {

std::vector<std::string> said(const logbook::Recorded& recorded) {
  std::vector<std::string> lines;
  for (const logbook::NewName& name : recorded.new_names) {
    lines.push_back(logbook::in_words(name));
  }
  return lines;
}

tune::SessionRecord another(const std::string& bow, const std::string& arrow) {
  tune::SessionRecord session = test::heron_session();
  session.folder += "-" + bow + arrow;
  for (tune::SetupRecord& setup : session.setups) {
    setup.facts.bow.name = bow;
    setup.facts.arrow.name = arrow;
    for (tune::ClipRecord& clip : setup.clips) {
      clip.sha256 += bow + arrow;
    }
  }
  return session;
}

}  // namespace

TEST_CASE("unit: a name never seen is said once, with the one that was nearly right") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  // The first of all is no slip.
  CHECK(said(logbook.record(test::heron_session(), test::heron_judgement())).empty());
  CHECK(said(logbook.record(another("heron", "Cedar"), test::heron_judgement())).empty());
  const auto record = [&](const char* bow, const char* arrow) {
    return said(logbook.record(another(bow, arrow), test::heron_judgement()));
  };
  CHECK(record("Hernon", "spruce") ==
        std::vector<std::string>{
            "bow \"Hernon\" is new to the logbook; nearly right: \"Heron\", if it is the same one",
            "arrow \"spruce\" is new to the logbook"});
  CHECK(record("Hernon", "spruce").empty());  // known now
  CHECK(record("", "").empty());
}

TEST_CASE("unit: a name that was mended is not known any more, in facts nor in questions") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  logbook.record(test::heron_session(), test::heron_judgement());
  tune::SessionRecord slip = another("Hernon", "cedar");
  logbook.record(slip, test::heron_judgement());
  CHECK(logbook::setups(logbook, {"Hernon", "", "", ""}).size() == 2);
  for (tune::SetupRecord& setup : slip.setups) {
    setup.facts.bow.name = "Heron";
  }
  CHECK(said(logbook.record(slip, test::heron_judgement())).empty());
  CHECK(
      says(complaint([&] {
             logbook::setups(logbook, {"Hernon", "", "", ""});
           }),
           "there is no bow \"Hernon\" in this logbook; nearly right: \"Heron\"; it knows Heron"));
  CHECK(says(complaint([&] {
               logbook::shots(logbook, {"", "cedra", "", ""});
             }),
             "nearly right: \"cedar\""));
  const std::string far = complaint([&] { logbook::setups(logbook, {"Kingfisher", "", "", ""}); });
  CHECK(says(far, "there is no bow \"Kingfisher\" in this logbook; it knows Heron"));
}

TEST_CASE("unit: a note of a bow never seen says so too, and makes it known") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  CHECK_FALSE(logbook.add_note({"", "new", "Heron"}));
  const auto slip = logbook.add_note({"", "string broke", "Heorn"});
  REQUIRE(slip);
  CHECK(slip->nearly_right == "Heron");
  CHECK_FALSE(logbook.add_note({"", "again", "Heorn"}));
}

TEST_CASE("unit: nearly right is two slips in five letters at most, case apart") {
  const std::vector<std::string> known = {"Heron", "Rook Hollow 45"};
  CHECK(units::nearly_right("herno", known) == "Heron");
  CHECK(units::nearly_right("hmmno", known).empty());
  CHECK(units::nearly_right("hero", known) == "Heron");
  CHECK(units::nearly_right("rook holow 45", known) == "Rook Hollow 45");
  CHECK(units::nearly_right("Egret", known).empty());
  CHECK(units::nearly_right("Egret", {}).empty());
}
