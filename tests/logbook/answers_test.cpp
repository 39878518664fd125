#include "nocktrail/logbook/answers.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <filesystem>

#include "asking.hpp"
#include "nocktrail/rules/safety.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Filter;
using logbook::Logbook;
using logbook::SetupAnswer;
using test::complaint;
using test::says;

namespace fs = std::filesystem;

namespace {

// `session` a year or so on: other clips, in another folder.
tune::SessionRecord later(tune::SessionRecord session, const std::string& name,
                          const std::string& month) {
  session.name = name;
  session.folder = "/home/robin/tuning/" + name;
  for (tune::SetupRecord& setup : session.setups) {
    for (tune::ClipRecord& clip : setup.clips) {
      clip.sha256 += name;
      clip.filmed_at_utc = month + clip.filmed_at_utc.substr(7);
    }
  }
  return session;
}

// Three sessions: Heron with cedar in May 2026, Heron with pine in April 2025 that ended straight,
// Kestrel with pine in June 2026.
void fill(Logbook& logbook) {
  logbook.record(test::heron_session(), test::heron_judgement());
  tune::SessionRecord pine = later(test::heron_session(), "pine", "2025-04");
  tune::SessionJudgement straight = test::heron_judgement();
  for (tune::SetupRecord& setup : pine.setups) {
    setup.facts.arrow.name = "pine";
  }
  straight.setups[1].lateral = tune::OffsetSummary{0.125, 0.3, 0.25, 5.0};
  straight.setups[1].spine = SpineVerdict::matched;
  straight.next.kind = StepKind::done;
  logbook.record(pine, straight);
  tune::SessionRecord kestrel = later(pine, "kestrel", "2026-06");
  for (tune::SetupRecord& setup : kestrel.setups) {
    setup.facts.bow.name = "Kestrel";
    setup.facts.bow.nocking_point_m = 0.01;
  }
  logbook.record(kestrel, test::heron_judgement());
}

std::vector<std::string> names(const std::vector<SetupAnswer>& setups) {
  std::vector<std::string> out;
  for (const SetupAnswer& setup : setups) {
    out.push_back(setup.session + "/" + setup.name);
  }
  return out;
}

using Names = std::vector<std::string>;

}  // namespace

TEST_CASE("unit: set-ups in order of time, with all that was told and judged") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  const std::vector<SetupAnswer> all = logbook::setups(logbook, {});
  CHECK(names(all) == Names{"pine/1 nock high", "pine/2 nock down", "heron, may/1 nock high",
                            "heron, may/2 nock down", "kestrel/1 nock high",
                            "kestrel/2 nock down"});
  const SetupAnswer& setup = all[3];
  CHECK(setup.first_at == "2026-05-30T10:00:00Z");
  CHECK(setup.last_at == "2026-05-30T10:05:00Z");
  CHECK(setup.facts.hand == Hand::right);
  CHECK_FALSE(setup.facts.cant_deg.has_value());
  CHECK(setup.facts.bow.draw_weight_n == 200.25);
  CHECK(setup.facts.bow.string == "14 strands");
  CHECK(setup.facts.bow.nocking_point_m == 0.0127);
  CHECK(setup.facts.arrow.spine->value == 50.0);
  CHECK(setup.facts.arrow.spine->convention == tune::SpineConvention::wood_pounds);
  CHECK(setup.facts.arrow.fletching == tune::Fletching::bare);
  CHECK(setup.facts.notes == "wind from the left");
  REQUIRE(setup.before.has_value());
  CHECK(setup.before->bow.nocking_point_m == 0.015875);
  CHECK_FALSE(all[2].before.has_value());
  CHECK(setup.counted == 2);
  CHECK(setup.lateral->mean_deg == -1.875);
  CHECK(setup.lateral->u95_deg == 0.5);
  CHECK(setup.spine == "weak");
  CHECK(setup.nocking_point == "level");
  CHECK_FALSE(setup.done);
}

TEST_CASE("unit: filters by bow, arrow and time") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  CHECK(
      logbook::setups(logbook, {.bow = "kestrel", .arrow = "", .since = "", .until = ""}).size() ==
      2);
  CHECK(logbook::setups(logbook, {.bow = "Heron", .arrow = "PINE", .since = "", .until = ""})
            .size() == 2);
  CHECK(logbook::setups(logbook, {.bow = "", .arrow = "", .since = "2026", .until = ""}).size() ==
        4);
  CHECK(logbook::setups(logbook, {.bow = "", .arrow = "", .since = "", .until = "2025"}).size() ==
        2);
  CHECK(logbook::setups(logbook, {.bow = "", .arrow = "", .since = "", .until = "2026-05-30"})
            .size() == 4);
  CHECK(logbook::setups(logbook, {.bow = "", .arrow = "", .since = "", .until = "2026-05-29"})
            .size() == 2);
  CHECK(logbook::shots(logbook, {.bow = "Kestrel", .arrow = "", .since = "", .until = ""}).size() ==
        4);
  CHECK(says(complaint([&] {
               logbook::setups(logbook, {.bow = "Robin", .arrow = "", .since = "", .until = ""});
             }),
             "no bow \"Robin\" in this logbook; it knows Heron, Kestrel"));
  CHECK(says(complaint([&] {
               logbook::setups(logbook, {.bow = "", .arrow = "", .since = "May", .until = ""});
             }),
             "since: \"May\" is not a date"));
}

TEST_CASE("unit: what a bow liked is what ended matched and level, or done") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  const std::vector<SetupAnswer> liked =
      logbook::liked(logbook, {.bow = "Heron", .arrow = "", .since = "2025", .until = "2025"});
  CHECK(names(liked) == Names{"pine/2 nock down"});
  CHECK(liked[0].done);
  CHECK(
      logbook::liked(logbook, {.bow = "Heron", .arrow = "", .since = "2026", .until = ""}).empty());
}

TEST_CASE("unit: what must not be shot is not what a bow liked") {
  for (const bool light : {false, true}) {
    const test::Folder folder;
    Logbook logbook(folder / "logbook.sqlite");
    tune::SessionRecord session = test::heron_session();
    tune::SetupFacts& facts = session.setups[1].facts;
    facts.bow.min_grains_per_pound = 8.0;
    facts.arrow.total_mass_kg = (light ? 318.0 : 400.0) * units::kKilogramsPerGrain;  // 45 lb
    tune::SessionJudgement judgement = test::heron_judgement();
    judgement.setups[1].spine = SpineVerdict::matched;
    logbook.record(session, judgement);
    CHECK(logbook::liked(logbook, {}).size() == (light ? 0 : 1));
  }
  // One shot that counts and trails 9 deg forbids it, whatever the mean is; left out, it does not.
  for (const bool dropped : {false, true}) {
    const test::Folder folder;
    Logbook logbook(folder / "logbook.sqlite");
    tune::SessionRecord session = test::heron_session();
    tune::ClipRecord& clip = session.setups[1].clips.front();
    clip.reading.shots.front().nock_right_deg->value = -9.0;
    clip.dropped = dropped ? "the nock had split" : "";
    tune::SessionJudgement judgement = test::heron_judgement();
    judgement.setups[1].spine = SpineVerdict::matched;
    logbook.record(session, judgement);
    CHECK(logbook::liked(logbook, {}).size() == (dropped ? 1 : 0));
    const std::vector<SetupAnswer> all = logbook::setups(logbook, {});
    CHECK(std::count_if(all.begin(), all.end(), [](const SetupAnswer& one) {
            return !one.stops.empty();
          }) == (dropped ? 0 : 1));
    // So does one that was refused because its arrow stood across its flight.
    Shot& shot = clip.reading.shots.front();
    clip.reading.status = ClipStatus::refused;
    shot.status = ShotStatus::refused;
    shot.nock_right_deg.reset();
    shot.nock_high_deg.reset();
    shot.reason = std::string("the arrow stands ") + rules::kAcrossItsFlight;
    Logbook another(folder / "another.sqlite");
    another.record(session, judgement);
    CHECK(logbook::liked(another, {}).size() == (dropped ? 1 : 0));
    CHECK(logbook::setups(another, {}).at(1).stops.empty() == dropped);
  }
}

TEST_CASE("rules: what feathers hide is not what a bow liked") {
  for (const SpineVerdict bare : {SpineVerdict::weak, SpineVerdict::stiff, SpineVerdict::matched}) {
    const test::Folder folder;
    Logbook logbook(folder / "logbook.sqlite");
    tune::SessionRecord session = test::heron_session();
    session.setups[0].facts.arrow = session.setups[1].facts.arrow;
    session.setups[0].facts.arrow.fletching = tune::Fletching::bare;
    session.setups[1].facts.arrow.fletching = tune::Fletching::fletched;
    tune::SessionJudgement judgement = test::heron_judgement();
    judgement.setups[0].spine = bare;
    judgement.setups[0].nocking_point = NockingPointVerdict::high;
    judgement.setups[1].spine = SpineVerdict::matched;
    judgement.setups[1].nocking_point = NockingPointVerdict::level;
    judgement.next.kind = StepKind::lighter_tip;
    logbook.record(session, judgement);
    CHECK(logbook::liked(logbook, {}).size() == (bare == SpineVerdict::matched ? 1 : 0));
  }
}

TEST_CASE("unit: the set-up in force before a date, one of each bow") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  CHECK(names(logbook::before_date(logbook, "2026-06-01", "").in_force) ==
        Names{"heron, may/2 nock down"});
  CHECK(names(logbook::before_date(logbook, "2026-07-01", "").in_force) ==
        Names{"heron, may/2 nock down", "kestrel/2 nock down"});
  CHECK(names(logbook::before_date(logbook, "2026-07-01", "Heron").in_force) ==
        Names{"heron, may/2 nock down"});
  CHECK(names(logbook::before_date(logbook, "2026-05-30T09:30", "").in_force) ==
        Names{"heron, may/1 nock high"});
  // A day without a time: what was begun on it may have been before or after.
  const auto on_the_day = logbook::before_date(logbook, "2026-05-30", "Heron");
  CHECK(names(on_the_day.in_force) == Names{"pine/2 nock down"});
  CHECK(names(on_the_day.same_day) == Names{"heron, may/1 nock high", "heron, may/2 nock down"});
  CHECK(logbook::before_date(logbook, "2020-01-01", "").in_force.empty());
  CHECK(says(complaint([&] { logbook::before_date(logbook, "2026", ""); }), "is not a date"));
}

TEST_CASE("unit: the nocking point before the string broke, by the note of it") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  logbook.add_note({"2025-04-30T09:30:00Z", "String broke at the loop", "heron"});
  logbook.add_note({"2026-08-01", "new string", "Kestrel"});
  const auto answer = logbook::before_note(logbook, "string BROKE", "");
  CHECK(answer.at == "2025-04-30T09:30:00Z");
  CHECK(answer.note == "String broke at the loop");
  REQUIRE(names(answer.in_force) == Names{"pine/1 nock high"});
  CHECK(answer.in_force[0].facts.bow.nocking_point_m == 0.015875);
  // In a set-up's own notes: that set-up was in force.
  CHECK(names(logbook::before_note(logbook, "wind", "Heron").in_force) ==
        Names{"heron, may/2 nock down"});
  CHECK(names(logbook::before_note(logbook, "new string", "").in_force) ==
        Names{"kestrel/2 nock down"});
  CHECK(says(complaint([&] { logbook::before_note(logbook, "dragon", ""); }),
             "no note in this logbook holds \"dragon\""));
}

TEST_CASE("unit: two arrows side by side, their difference on one bow") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  fill(logbook);
  const auto answer = logbook::compare(logbook, "cedar", "pine", {});
  CHECK(answer.first.counted == 4);
  CHECK(answer.second.counted == 8);
  CHECK(names(answer.second.setups).size() == 4);
  CHECK(answer.bow == "Heron");
  CHECK(answer.first_setup == "heron, may / 2 nock down");
  CHECK(answer.second_setup == "pine / 2 nock down");
  // 0.125 - (-1.875); sqrt(0.5^2 + 0.3^2): independent uncertainties, JCGM 100:2008, 5.1.2.
  CHECK(answer.lateral_difference_deg->value == doctest::Approx(2.0));
  CHECK(answer.lateral_difference_deg->u95 == doctest::Approx(0.583095));
  CHECK_FALSE(logbook::compare(logbook, "cedar", "pine",
                               {.bow = "Kestrel", .arrow = "", .since = "", .until = ""})
                  .lateral_difference_deg.has_value());
  CHECK(says(complaint([&] { logbook::compare(logbook, "cedar", "birch", {}); }),
             "no arrow \"birch\" in this logbook; it knows cedar, pine"));
}

TEST_CASE("unit: older readings only when asked for, with what else is to be said of a shot") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  session.setups[0].clips[0].program_version = "0.2.0";
  session.setups[0].clips[0].dropped_shots[1] = "plucked";
  session.setups[0].clips.pop_back();
  logbook.record(session, test::heron_judgement());
  const auto now = logbook::shots(logbook, {});
  REQUIRE(now.size() == 4);
  CHECK(now[0].program_version == "0.2.0");
  CHECK(now[0].dropped == "plucked");
  CHECK(now[0].still == "nocktrail/a.mp4.png");
  CHECK(now[0].nock_right_deg->value == -2.5);
  CHECK(now[0].nock_right_deg->u95 == 0.21);
  CHECK(now[0].at == "2026-05-30T09:00:00Z");
  CHECK(now[0].present);
  CHECK_FALSE(now[1].present);
  const auto history = logbook::shots(logbook, {}, true);
  REQUIRE(history.size() == 5);
  CHECK(history[0].program_version == "0.1.0");
  CHECK_FALSE(history[0].current);
}

TEST_CASE("unit: a clip without a time of filming is of the time it was read") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  tune::SessionRecord session = test::heron_session();
  for (tune::SetupRecord& setup : session.setups) {
    for (tune::ClipRecord& clip : setup.clips) {
      clip.filmed_at_utc.clear();
    }
  }
  logbook.record(session, test::heron_judgement());
  CHECK(logbook::shots(logbook, {}).at(0).at == "2026-06-01T08:00:00Z");
}

TEST_CASE("unit: a set-up whose folder was renamed is there once, under its new name") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  session.setups[0].name = "1 very high";
  logbook.record(session, test::heron_judgement());
  CHECK(names(logbook::setups(logbook, {})) ==
        Names{"heron, may/1 very high", "heron, may/2 nock down"});
}
