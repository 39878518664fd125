// The worked session from end to end: filmed, read set-up by set-up as an archer would, judged, and
// held against the simulated truth, which lies where the reader does not look.
//
// Expectations come from the truth and the order of the trade (nocking point, then spine on the
// bare shaft, a weak one by what can be undone or by the saw, then the finished arrow: common
// practice, no source; the dead band of 0.5 deg is the contract's in docs/measurement.md), never
// from a run.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "session/program.hpp"

namespace nocktrail::session::test {
namespace {

using nlohmann::json;

constexpr double kDeadBand_deg = 0.5;
// A mean that leaves a matched arrow undecided is still known to this.
constexpr double kSettled_deg = 0.75;
// 95 % each: five of six set-ups is what the two-sided test of so few can ask.
constexpr int kLeastHeld = 5;
// Where shots were filmed from the side, too (tools/worked_session/worked_session.cpp).
const std::vector<std::string> kFromSide{"1-full-length", "2-nock-down", "5-trimmed"};

json json_file(const fs::path& path) {
  std::ifstream in(path);
  REQUIRE_MESSAGE(in, path.string());
  return json::parse(in);
}

// A right-handed archer's: nock left (negative) acts weak.
std::string true_spine(double lateral_deg) {
  return lateral_deg < -kDeadBand_deg ? "weak" : lateral_deg > kDeadBand_deg ? "stiff" : "matched";
}

// The steps that the truth allows at a set-up; "stripped" once the bare shaft has been shot.
std::vector<std::string> true_steps(double lateral_deg, double vertical_deg, bool bare,
                                    bool stripped) {
  if (!bare && stripped) {
    return {"done"};
  }
  if (vertical_deg > kDeadBand_deg) {
    return {"lower-nocking-point"};
  }
  if (!bare) {
    return {"shoot-bare"};
  }
  if (true_spine(lateral_deg) == "weak") {
    return {"lighter-tip", "thicker-plate", "trim-shaft"};
  }
  return {"shoot-fletched"};
}

bool holds(const json& summary, double truth_deg) {
  return std::abs(summary["mean_deg"].get<double>() - truth_deg) <=
         summary["u95_deg"].get<double>();
}

// One set-up after the other as they are shot, with what was said after each.
struct Worked {
  struct SetUp {
    std::string name;
    double lateral_deg = 0.0;  // true means
    double vertical_deg = 0.0;
    bool bare = false;
    json judged;  // of session.json
    json next;
    std::string said;
  };
  std::vector<SetUp> setups;
  json last;
  std::string second_run;
  bool report = false;
  bool sheet = false;
};

Worked film_and_read() {
  const Folder scratch;
  const fs::path out = scratch / "worked session";
  const std::string command =
      fmt::format("'{}' '{}' '{}' >'{}' 2>&1", NOCKTRAIL_WORKED_SCRIPT, out.string(),
                  NOCKTRAIL_BUILD, (scratch / "script.log").string());
  REQUIRE_MESSAGE(std::system(command.c_str()) == 0, content(scratch / "script.log"));
  const fs::path session = out / "rook-hollow";
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(session)) {
    CHECK_MESSAGE(entry.path().extension() != ".json", "truth within reach of the reader");
  }
  const json truth = json_file(out / "truth" / "setups.json")["setups"];
  const fs::path later = out / "later";
  fs::create_directories(later);
  for (const json& setup : truth) {
    const std::string name = setup["name"];
    fs::rename(session / name, later / name);
  }

  Worked worked;
  for (const json& setup : truth) {
    Worked::SetUp at;
    at.name = setup["name"];
    at.lateral_deg = setup["mean"]["lateral_deg"];
    at.vertical_deg = setup["mean"]["vertical_deg"];
    at.bare = setup["bare"];
    fs::rename(later / at.name, session / at.name);
    Program program(scratch, "run-" + at.name,
                    {"session", session.string(), "--no-logbook", "--quiet"});
    REQUIRE_MESSAGE(program.wait(std::chrono::seconds(600)) == 0, program.err());
    worked.last = json_file(session / "nocktrail-results" / "session.json");
    at.judged = worked.last["setups"].back();
    REQUIRE(at.judged["name"] == at.name);
    at.next = worked.last["next"];
    at.said = fmt::format(
        "{}: true {:+.2f}, {:+.2f}; read {:+.2f} +- {:.2f}, {:+.2f} +- {:.2f} of {} shots; {}, {}; "
        "next {}",
        at.name, at.lateral_deg, at.vertical_deg, at.judged["lateral"]["mean_deg"].get<double>(),
        at.judged["lateral"]["u95_deg"].get<double>(),
        at.judged["vertical"]["mean_deg"].get<double>(),
        at.judged["vertical"]["u95_deg"].get<double>(), at.judged["counted"].get<int>(),
        at.judged["spine"].get<std::string>(), at.judged["nocking_point"].get<std::string>(),
        at.next["kind"].get<std::string>());
    worked.setups.push_back(at);
  }
  worked.report = fs::exists(session / "nocktrail-results" / "report.html");
  worked.sheet = fs::exists(session / "nocktrail-results" / "build-sheet.html");
  Program again(scratch, "again", {"session", session.string(), "--no-logbook"});
  REQUIRE(again.wait(std::chrono::seconds(60)) == 0);
  worked.second_run = again.err();
  return worked;
}

// Films are made and read once for all cases.
const Worked& worked() {
  static const Worked once = film_and_read();
  return once;
}

TEST_CASE("the worked session: means and verdicts against the simulated truth") {
  REQUIRE(worked().setups.size() == 6);
  int lateral_held = 0;
  int vertical_held = 0;
  for (const Worked::SetUp& at : worked().setups) {
    MESSAGE(at.said);
    INFO(at.said);
    lateral_held += holds(at.judged["lateral"], at.lateral_deg) ? 1 : 0;
    vertical_held += holds(at.judged["vertical"], at.vertical_deg) ? 1 : 0;
    // No film of the six may be lost but one, nor of the four from the side.
    CHECK(at.judged["counted"].get<int>() >= 5);
    const bool from_side = std::count(kFromSide.begin(), kFromSide.end(), at.name) > 0;
    CHECK(at.judged["side_shots"].size() >= (from_side ? 3U : 0U));
    for (const json& shot : at.judged["side_shots"]) {
      CHECK_FALSE(shot["vert_deg"].is_null());
    }
    const std::string spine = at.judged["spine"];
    if (std::abs(at.lateral_deg) > 2.0 * kDeadBand_deg) {
      CHECK(spine == true_spine(at.lateral_deg));
    } else {
      // So near the band's edge, "unclear" is honest, too; another side is not.
      CHECK((spine == true_spine(at.lateral_deg) || spine == "unclear"));
    }
  }
  CHECK(lateral_held >= kLeastHeld);
  CHECK(vertical_held >= kLeastHeld);
  CHECK_FALSE(says(worked().second_run, ".mp4: nock"));  // nothing new, nothing read
}

TEST_CASE("the worked session: each step and the end are what the truth asks for") {
  REQUIRE(worked().setups.size() == 6);
  bool stripped = false;
  int undecided = 0;
  for (const Worked::SetUp& at : worked().setups) {
    INFO(at.said);
    stripped = stripped || at.bare;
    const std::vector<std::string> asked =
        true_steps(at.lateral_deg, at.vertical_deg, at.bare, stripped);
    const std::string kind = at.next["kind"];
    if (kind == "film-more") {
      // To ask is right where the interval reaches over the dead band's edge, and only there.
      CHECK(at.judged["spine"] == "unclear");
      const double u95 = at.judged["lateral"]["u95_deg"];
      CHECK(std::abs(at.judged["lateral"]["mean_deg"].get<double>()) + u95 > kDeadBand_deg);
      CHECK(u95 < kSettled_deg);
      ++undecided;
      continue;
    }
    CHECK(std::find(asked.begin(), asked.end(), kind) != asked.end());
  }
  CHECK(undecided <= 1);
  // The last bare set-up is straight and level in truth, so there is something to build after.
  const Worked::SetUp& finish = worked().setups[4];
  REQUIRE(finish.bare);
  REQUIRE(std::abs(finish.lateral_deg) < kDeadBand_deg);
  REQUIRE(std::abs(finish.vertical_deg) < kDeadBand_deg);
  CHECK_FALSE(worked().last["build_sheet"].is_null());
  CHECK(worked().report);
  CHECK(worked().sheet);
}

}  // namespace
}  // namespace nocktrail::session::test
