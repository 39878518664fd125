#include <doctest/doctest.h>

#include <functional>
#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_edit.hpp"
#include "nocktrail/session/safe_name.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

std::string complaint(const std::function<void()>& work) {
  try {
    work();
  } catch (const BadInput& problem) {
    return problem.what();
  }
  return {};
}

}  // namespace

TEST_CASE("unit: a shot is left out where it is spoken of, and what was written by hand stays") {
  const Folder folder;
  folder.write("1-start/a.mp4", "1");
  folder.write("1-start/b.mp4", "2");
  const std::string session =
      "# ours\nhand = \"right\" # both of us\n[clip.\"1-start/b.mp4\"] # the windy one\ncant = 5\n"
      "drop = \"gust\"  # Wren saw it\n";
  folder.write("session.toml", session);
  folder.write("1-start/setup.toml", "# begun at nine\n");
  CHECK(leave_out(folder.path(), {"1-start", "a.mp4", 0}, "plucked", std::nullopt) ==
        LeaveOut::done);
  CHECK(content(folder / "1-start/setup.toml") ==
        "# begun at nine\n\n[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  CHECK(content(folder / "1-start/setup.toml.before") == "# begun at nine\n");
  CHECK(leave_out(folder.path(), {"1-start", "b.mp4", 0}, std::nullopt, "gust") == LeaveOut::done);
  CHECK(
      content(folder / "session.toml") ==
      "# ours\nhand = \"right\" # both of us\n[clip.\"1-start/b.mp4\"] # the windy one\ncant = 5\n"
      "# Wren saw it\n");
  CHECK(content(folder / "session.toml.before") == session);
  // One shot of several.
  CHECK(leave_out(folder.path(), {"1-start", "a.mp4", 2}, "short", std::nullopt) == LeaveOut::done);
  const Plan plan = load(folder.path());
  CHECK(plan.faults.empty());
  CHECK(plan.setups[0].clips[0].dropped == "plucked");
  CHECK(plan.setups[0].clips[0].dropped_shots.at(2) == "short");
  CHECK(plan.setups[0].clips[1].dropped.empty());
  CHECK(plan.setups[0].clips[1].cant_deg == 5.0);
}

TEST_CASE("fault: what somebody else changed, a link, and files with faults are left alone") {
  const Folder folder;
  const Folder outside;
  folder.write("a.mp4", "1");
  const ClipPlace place{".", "a.mp4", 0};
  CHECK(leave_out(folder.path(), place, "x", "not so") == LeaveOut::changed);
  CHECK(leave_out(folder.path(), {".", "b.mp4", 0}, "x", std::nullopt) == LeaveOut::no_such_clip);
  CHECK(leave_out(folder.path(), {"..", "a.mp4", 0}, "x", std::nullopt) == LeaveOut::no_such_clip);
  CHECK_FALSE(fs::exists(folder / "session.toml"));
  CHECK(says(complaint([&] { leave_out(folder.path(), place, " \t", std::nullopt); }), "reason"));
  outside.write("mine.toml", "hand = \"left\"\n");
  fs::create_symlink(outside / "mine.toml", folder / "session.toml");
  CHECK(says(complaint([&] { leave_out(folder.path(), place, "x", std::nullopt); }), "is a link"));
  CHECK(content(outside / "mine.toml") == "hand = \"left\"\n");
  fs::remove(folder / "session.toml");
  // A link in the place of the version before is not followed either.
  folder.write("session.toml", "hand = \"left\"\n");
  fs::create_symlink(outside / "mine.toml", folder / "session.toml.before");
  CHECK(leave_out(folder.path(), place, "x", std::nullopt) == LeaveOut::done);
  CHECK(content(outside / "mine.toml") == "hand = \"left\"\n");
  CHECK_FALSE(fs::is_symlink(folder / "session.toml.before"));
  folder.write("session.toml", "hnad = \"left\"\n");
  CHECK(says(complaint([&] { leave_out(folder.path(), place, "x", std::nullopt); }),
             "mend that first"));
}

TEST_CASE("unit: a set-up that is begun comes last and inherits the rest") {
  const Folder folder;
  const auto begin = [&](const NewSetup& wanted) { return begin_setup(folder.path(), {}, wanted); };
  folder.write("session.toml", "[bow]\nbrace_min = \"6 3/4in\"\nbrace_max = \"7 3/4in\"\n");
  CHECK(begin({"", "", "", ""}) == "1-set-up");
  CHECK(begin({"higher", "bow.brace_height", "7 1/2in", ""}) == "2-higher");
  folder.write("zuletzt/setup.toml", "");
  CHECK(begin({"../../etc", "", "", ""}) == "zuletzt-2-etc");
  const Plan plan = load(folder.path());
  CHECK(plan.faults.empty());
  const Folder fractions;
  CHECK(begin_setup(fractions.path(), {}, {"7/16 nock", "", "", ""}) == "1-7-16-nock");
  REQUIRE(plan.setups.size() == 4);
  CHECK(plan.setups.back().name == "zuletzt-2-etc");
  CHECK(plan.setups.back().facts.bow.brace_height_m.has_value());
  CHECK(says(complaint([&] {
               begin({"x", "bow.brace_height", "9 parsecs", ""});
             }),
             "Brace height: cannot read"));
  CHECK(says(complaint([&] { begin({"x", "bow.brace_height", "", ""}); }), "unit"));
  CHECK(says(complaint([&] { begin({"x", "clip.x", "y", ""}); }), "list"));
  CHECK(load(folder.path()).setups.size() == 4);
  const Folder flat;
  flat.write("a.mp4", "1");
  CHECK(says(complaint([&] { begin_setup(flat.path(), {}, {}); }), "belong to no set-up"));
}

TEST_CASE("unit: set-ups begun after a folder of letters do not pile up its name") {
  const Folder folder;
  folder.write("bare shafts/setup.toml", "");
  std::string last;
  for (int i = 2; i < 14; ++i) {
    last = begin_setup(folder.path(), {}, {"nock one sixteenth down", "", "", ""});
    CHECK(last == "bare shafts-" + std::to_string(i) + "-nock-one-sixteenth-down");
    CHECK(load(folder.path()).setups.back().name == last);
  }
}

TEST_CASE("unit: a name that session.toml knows another set-up's clip by is not given twice") {
  const Folder folder;
  folder.write("session.toml", "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  folder.write("1-start/a.mp4", "1");
  folder.write("1-start/b.mp4", "2");
  folder.write("2-next/setup.toml", "");
  CHECK(would_be_confused(folder.path(), {"2-next", "a.mp4", 0}));
  CHECK_FALSE(would_be_confused(folder.path(), {"1-start", "a.mp4", 0}));
  CHECK_FALSE(would_be_confused(folder.path(), {"2-next", "b.mp4", 0}));
  folder.write("session.toml", "[clip.\"1-start/a.mp4\"]\ndrop = \"plucked\"\n");
  CHECK_FALSE(would_be_confused(folder.path(), {"2-next", "a.mp4", 0}));
}

TEST_CASE(
    "unit: clips in the session's own folder go into a set-up when its archer wants another") {
  NewSetup wanted;
  wanted.name = "higher";
  wanted.gather = true;
  const Folder folder;
  folder.write("session.toml", "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  folder.write("a.mp4", "1");
  folder.write("b.mp4", "2");
  folder.write("b.mp4.reading.json", "{}");
  folder.write("notes.txt", "mine");
  CHECK(begin_setup(folder.path(), {}, wanted) == "2-higher");
  const Plan plan = load(folder.path());
  REQUIRE(plan.setups.size() == 2);
  CHECK(plan.setups[0].name == "1-start");
  REQUIRE(plan.setups[0].clips.size() == 2);
  CHECK(plan.setups[0].clips[0].dropped == "plucked");
  CHECK(plan.faults.empty());
  CHECK(content(folder / "1-start/a.mp4") == "1");
  CHECK(content(folder / "1-start/b.mp4.reading.json") == "{}");
  CHECK(content(folder / "notes.txt") == "mine");
}

TEST_CASE("fault: clips that cannot all be moved stay where they are") {
  NewSetup wanted;
  wanted.gather = true;
  SUBCASE("one is a link, which may lead elsewhere from another folder") {
    const Folder folder;
    folder.write("a.mp4", "1");
    folder.write("other/c.txt", "3");
    std::filesystem::create_symlink("other/c.txt", folder.path() / "b.mp4");
    CHECK(
        says(complaint([&] { begin_setup(folder.path(), {}, wanted); }), "b.mp4: cannot be moved"));
    CHECK(content(folder / "a.mp4") == "1");
    CHECK_FALSE(std::filesystem::exists(folder.path() / "1-start"));
  }
  SUBCASE("there is such a folder, with its archer's own things") {
    const Folder folder;
    folder.write("a.mp4", "1");
    folder.write("1-start/plan.txt", "mine");
    CHECK(says(complaint([&] { begin_setup(folder.path(), {}, wanted); }),
               "1-start: cannot be made"));
    CHECK(content(folder / "a.mp4") == "1");
    CHECK(content(folder / "1-start/plan.txt") == "mine");
  }
  SUBCASE("the new set-up is refused") {
    const Folder folder;
    folder.write("a.mp4", "1");
    wanted.field = "bow.brace_height";
    wanted.value = "9 parsecs";
    CHECK(says(complaint([&] { begin_setup(folder.path(), {}, wanted); }), "cannot read"));
    CHECK(content(folder / "a.mp4") == "1");
    CHECK_FALSE(std::filesystem::exists(folder.path() / "1-start"));
  }
}

TEST_CASE("unit: a safe name is its own safe name") {
  for (const std::string name : {"a/b.mp4", "..", "x\u200By.MOV", "  . -a .mp4", "é\xcc",
                                 "tab\t.mp4", "#1", "\u2066hi\u2069"}) {
    INFO(name);
    const std::string once = safe_name(name);
    CHECK(safe_name(once) == once);
    CHECK(once.find_first_of("/\\#\t") == std::string::npos);
    CHECK_FALSE(once.starts_with('.'));
  }
  CHECK(safe_clip_name("IMG_0017.MOV") == "IMG_0017.MOV");
  CHECK(safe_clip_name("Vidéo 3.mp4") == "Vidéo 3.mp4");
}
