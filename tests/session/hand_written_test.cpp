// Under the name of a hand-written file anything may lie: a pipe, a device, a text made to hurt.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <chrono>
#include <string>

#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

std::string repeated(const std::string& part, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) {
    all += part;
  }
  return all;
}

}  // namespace

TEST_CASE("fault: a pipe, a device, a folder or a giant is a fault in one line, and no wait") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  const auto fault = [&] {
    const Plan plan = load(folder.path());
    REQUIRE(plan.faults.size() == 1);
    CHECK(plan.faults[0].find('\n') == std::string::npos);
    fs::remove_all(folder / "session.toml");
    return plan.faults[0];
  };
  REQUIRE(::mkfifo((folder / "session.toml").c_str(), 0600) == 0);
  CHECK(says(fault(), "session.toml: is no ordinary file"));
  fs::create_symlink("/dev/zero", folder / "session.toml");
  CHECK(says(fault(), "session.toml: is no ordinary file"));
  fs::create_directory(folder / "session.toml");
  CHECK(says(fault(), "session.toml: is no ordinary file"));
  folder.write("session.toml", std::string((std::size_t{1} << 20U) + 1, '#'));
  CHECK(says(fault(), "session.toml: is larger than 1 MB"));
  folder.write("session.toml",
               std::string("# ") + std::string(1000000, 'x') + "\nhand = \"left\"\n");
  CHECK(load(folder.path()).setups[0].facts.hand == Hand::left);
  // The phones' file and the profile likewise.
  REQUIRE(::mkfifo((folder / "phones.toml").c_str(), 0600) == 0);
  CHECK(any_says(load(folder.path(), {{}, folder / "phones.toml"}).faults, "is no ordinary file"));
  CHECK(any_says(load(folder.path(), {folder / "phones.toml", {}}).faults, "is no ordinary file"));
}

TEST_CASE("fault: texts made to hurt are one short line, in no time") {
  const Folder folder;
  std::string many;
  for (int i = 0; i < 60000; ++i) {
    many += fmt::format("key_{} = 1\n", i);
  }
  std::string clips;
  for (int i = 0; i < 25000; ++i) {
    clips += fmt::format("[clip.\"{}.mp4\"]\ncant = 1\n", i);
  }
  const std::string long_key(900000, 'k');
  struct Row {
    std::string text;
    const char* said;
  };
  for (const Row& row : std::vector<Row>{
           {std::string("a") + repeated(".a", 50000) + " = 1\n", "line 1: nested deeper"},
           {std::string("\n\n[a") + repeated(".\"a\"", 50000) + "]\n", "line 3: nested deeper"},
           {std::string("a = ") + std::string(100000, '['), "line 1: nested deeper"},
           {std::string("a = ") + repeated("{a=", 100000), "line 1: nested deeper"},
           {std::string("a") + repeated(" . a", 50000) + " = 1\n", "line 1: nested deeper"},
           {long_key + " = 1\n", "is not a known field"},
           {std::string("\"") + long_key + "\" = 1\n", "is not a known field"},
           {long_key + "\n", "line 1"},
           {std::string("hand = \"") + long_key + "\"\n", "hand is too long"},
           {std::string("[bow]\nbrace_height = \"") + long_key + "\"\n",
            "brace_height is too long"},
           {std::string("[clip.\"") + long_key + "\"]\ncant = 95\n", "is not possible"},
           {many, "key_0 is not a known field"},
           {clips + "[bow]\nx = 1\n", "bow.x is not a known field"},
       }) {
    folder.write("session.toml", row.text);
    const auto start = std::chrono::steady_clock::now();
    const Plan plan = load(folder.path());
    REQUIRE(plan.faults.size() == 1);
    CAPTURE(plan.faults[0].substr(0, 300));
    CHECK(says(plan.faults[0], row.said));
    CHECK(plan.faults[0].size() < 700);
    // Quadratic steps would take minutes; generous for a busy machine under a sanitizer.
    CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(20));
  }
}

TEST_CASE("unit: several unknown fields are named in one go, in the order of the file") {
  try {
    parse_facts("zeta = 1\ncnat = 2\nhand = \"left\"\nbeta = 3\nalpha = 4\nomega = 5\n", "s.toml",
                FactsKind::session);
    FAIL("no complaint");
  } catch (const BadInput& problem) {
    CHECK(says(problem.what(), "s.toml: line 1: zeta is not a known field"));
    CHECK(says(problem.what(), "; nor is cnat (line 2), beta (line 4), alpha (line 5) and 1 more"));
  }
}

TEST_CASE("unit: what is nested as deep as ours, and dots in words and numbers, are no fault") {
  const FactsTold told = parse_facts(
      "notes = \"\"\"\na.b.c.d.e.f.g.h.i.j.k.l.m.n.o.p.q.r.s\n[[[[[[[[[[[[[[[[[[\"\"\"\n"
      "# a.b.c.d.e.f.g.h.i.j.k.l.m.n.o.p.q.r.s.t [[[[[[[[[[[[[[[[[[[[\n"
      "[clip.'1.2.3.4.5.6.7.8.9.10.11.12.13.14.15.16.17.18.mp4']\ndrop = 'a\\'\n",
      "s.toml", FactsKind::session);
  CHECK(told.clips.size() == 1);
  CHECK(told.clips[0].dropped == "a\\");
}

TEST_CASE("fault: [clip] tables without a clip are counted, and some of them named") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  std::string text;
  for (int i = 0; i < 300; ++i) {
    text += fmt::format("[clip.\"{}.mp4\"]\ncant = 1\n", i);
  }
  folder.write("session.toml", text);
  const Plan plan = load(folder.path());
  CHECK(plan.faults.empty());
  CHECK(plan.messages.size() == 6);
  CHECK(any_says(plan.messages, "295 more [clip] tables"));
}
