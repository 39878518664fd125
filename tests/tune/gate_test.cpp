// Set-ups on either side of every limit. Whose each limit is stands beside it; those of the trade
// are common practice without a source.
#include "nocktrail/tune/gate.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement_json.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

struct Row {
  const char* limit;
  std::function<void(SetupFacts&)> inside;
  std::function<void(SetupFacts&)> beyond;
  StepKind step;
  const char* words;  // whose limit it is
};

// 31 in x 8 gr/in + 10 gr nock + 125 gr tip = 383 gr at 45 lb held: 8.51 gr/lb.
const std::vector<Row>& table() {
  static const std::vector<Row> rows = {
      {"absolute floor of 5 grains a pound (common practice)",
       [](SetupFacts& f) { f.arrow.total_mass_kg = 226.0 * kGrain; },
       [](SetupFacts& f) { f.arrow.total_mass_kg = 224.0 * kGrain; }, StepKind::do_not_shoot_arrow,
       "the trade's absolute floor"},
      {"3.9 grains a pound (common practice)",
       [](SetupFacts& f) { f.arrow.total_mass_kg = 383.0 * kGrain; },
       [](SetupFacts& f) { f.arrow.total_mass_kg = 3.9 * 45.0 * kGrain; },
       StepKind::do_not_shoot_arrow, "the trade's absolute floor"},
      {"the maker's grains a pound, parts added up",
       [](SetupFacts& f) { f.bow.min_grains_per_pound = 8.5; },
       [](SetupFacts& f) { f.bow.min_grains_per_pound = 8.55; }, StepKind::do_not_shoot_arrow,
       "the bow's maker asks"},
      {"the maker's grains a pound, spine and draw untold",
       [](SetupFacts& f) {
         f.arrow.spine.reset();
         f.draw_m.reset();
         f.bow.min_grains_per_pound = 8.5;
       },
       [](SetupFacts& f) {
         f.arrow.spine.reset();
         f.draw_m.reset();
         f.bow.min_grains_per_pound = 8.55;
       },
       StepKind::do_not_shoot_arrow, "the bow's maker asks"},
      {"the rest at full draw: 28 in AMO is 26 1/4 in from the nock (AMO FP-3: 1 3/4 in between "
       "pivot point and string's draw length)",
       [](SetupFacts& f) { f.arrow.shaft_length_m = 26.26 * kInch; },
       [](SetupFacts& f) { f.arrow.shaft_length_m = 26.24 * kInch; }, StepKind::do_not_shoot_arrow,
       "behind the rest"},
      {"the rest, only the whole arrow's length told",
       [](SetupFacts& f) {
         f.arrow.shaft_length_m.reset();
         f.arrow.arrow_length_m = 27.0 * kInch;
       },
       [](SetupFacts& f) {
         f.arrow.shaft_length_m.reset();
         f.arrow.arrow_length_m = 26.2 * kInch;
       },
       StepKind::do_not_shoot_arrow, "behind the rest"},
      {"the maker's least brace height", [](SetupFacts& f) { f.bow.brace_height_m = 6.75 * kInch; },
       [](SetupFacts& f) { f.bow.brace_height_m = 6.7 * kInch; }, StepKind::do_not_shoot_bow,
       "the bow's maker allows"},
      {"the maker's greatest brace height",
       [](SetupFacts& f) { f.bow.brace_height_m = 7.75 * kInch; },
       [](SetupFacts& f) { f.bow.brace_height_m = 7.8 * kInch; }, StepKind::do_not_shoot_bow,
       "the bow's maker allows"},
      {"the maker's greatest draw", [](SetupFacts& f) { f.bow.max_draw_m = 28.0 * kInch; },
       [](SetupFacts& f) { f.bow.max_draw_m = 27.75 * kInch; }, StepKind::do_not_draw_bow,
       "the bow's maker allows"},
      {"the maker's greatest weight held",
       [](SetupFacts& f) { f.bow.max_draw_weight_n = 45.1 * kPound; },
       [](SetupFacts& f) { f.bow.max_draw_weight_n = 44.9 * kPound; }, StepKind::do_not_draw_bow,
       "the bow's maker allows"},
  };
  return rows;
}

// Every reading that used to end in something else: none, straight, weak, stiff, high, one shot.
std::vector<SetupRecord> readings(const SetupFacts& facts) {
  return {setup("01", facts, 0.0, 0.0, 0),      setup("01", facts, 0.0, 0.1, 16, 0.3),
          setup("01", facts, -4.0, 0.1),        setup("01", facts, 4.0, 0.1),
          setup("01", facts, 0.0, 2.0),         setup("01", facts, -1.0, 1.0, 1),
          setup("01", facts, -1.0, 1.0, 6, 2.2)};
}

}  // namespace

TEST_CASE("rules: a limit that is passed comes before every other step") {
  for (const Row& row : table()) {
    CAPTURE(row.limit);
    SetupFacts inside = facts();
    row.inside(inside);
    SetupFacts beyond = facts();
    row.beyond(beyond);
    CHECK(stop_texts(inside).empty());
    REQUIRE_FALSE(stop_texts(beyond).empty());
    for (const SetupRecord& record : readings(inside)) {
      CHECK_FALSE(forbids(judged({record}).next.kind));
    }
    for (const Fletching fletching : {Fletching::bare, Fletching::unknown}) {
      beyond.arrow.fletching = fletching;
      // Of an arrow whose fletching was not told the parts' sum may be short of a fletching.
      if (fletching == Fletching::unknown && stop_texts(beyond).empty()) {
        continue;
      }
      for (const SetupRecord& record : readings(beyond)) {
        const SessionRecord whole = session({record});
        const SessionJudgement judgement = judge_session(whole, quick());
        CHECK(judgement.next.kind == row.step);
        CHECK(judgement.next.words.find(row.words) != std::string::npos);
        CHECK(judgement.next.words.starts_with("Do not"));
        CHECK_FALSE(judgement.build_sheet);
        const std::string text = judgement_text(whole, judgement);
        for (const char* tempting :
             {"shoot again", "Film ", "film ", "build the rest", "Build sheet", "spine group"}) {
          CAPTURE(tempting);
          CHECK(text.find(tempting) == std::string::npos);
        }
        // First after the session's name.
        CHECK(text.find("Next step: Do not") == text.find('\n') + 1);
        // What a watcher prints, after whose it is.
        CHECK(judgement_line(whole, judgement).find(": Do not") <=
              std::max(whole.name.size(), record.name.size()));
        CHECK(judgement_json(whole, judgement)["next"]["kind"] ==
              std::string(row.step == StepKind::do_not_draw_bow    ? "do-not-draw-bow"
                          : row.step == StepKind::do_not_shoot_bow ? "do-not-shoot-bow"
                                                                   : "do-not-shoot-arrow"));
      }
    }
  }
}

TEST_CASE("rules: every stop names figure, limit and what mends it") {
  SetupFacts light = facts();
  light.arrow.total_mass_kg = 200.0 * kGrain;
  light.bow.min_grains_per_pound = 8.0;
  const std::vector<std::string> texts = stop_texts(light);
  REQUIRE(texts.size() == 1);
  CHECK(texts[0].find("200 gr") != std::string::npos);
  CHECK(texts[0].find("4.4 grains") != std::string::npos);      // 200 / 45
  CHECK(texts[0].find("360 gr or more") != std::string::npos);  // 8 x 45
}

TEST_CASE("rules: a bare shot over 8 deg stops the session, whatever the mean") {
  std::vector<ClipRecord> clips = shots(-4.0, 0.1);
  clips[2].reading.shots[0].nock_right_deg->value = -8.4;
  CHECK(judged({{"01", facts(), clips}}).next.kind == StepKind::do_not_shoot_arrow);
  // Left out by the archer, it is no reading of this arrow.
  clips[2].dropped = "plucked";
  CHECK_FALSE(forbids(judged({{"01", facts(), clips}}).next.kind));
  SetupFacts fletched = facts();
  fletched.arrow.fletching = Fletching::fletched;
  clips[2].dropped.clear();
  CHECK_FALSE(forbids(judged({{"01", fletched, clips}}).next.kind));
}

TEST_CASE("rules: not knowing the mass never counts as being inside") {
  // By its spine alone the shaft is estimated too light for 45 lb at the 11 gr/lb of its maker.
  SetupFacts untold = facts();
  untold.arrow.mass_per_length_kg_per_m.reset();
  untold.bow.min_grains_per_pound = 11.0;
  const SessionJudgement judgement = judged({setup("01", untold, 0.0, 0.1, 16, 0.3)});
  CHECK(judgement.next.kind == StepKind::tell_facts);
  CHECK(judgement.next.words.find("mass, weighed") != std::string::npos);
  // A stiff reading asks before it sends for weaker, lighter shafts.
  SetupFacts stiff = facts();
  stiff.arrow.mass_per_length_kg_per_m.reset();
  CHECK(judged({setup("01", stiff, 7.0, 0.1)}).next.kind == StepKind::tell_facts);
}

TEST_CASE("rules: no proposed change leads past a limit") {
  // Over lengths down to the rest, tips down to the lightest and makers' floors up to the arrow's
  // own: the state after the step is inside every limit.
  for (const double length_in : {26.3, 26.76, 27.0, 28.5, 31.0}) {
    for (const double tip_gr : {60.0, 70.0, 125.0}) {
      for (const double floor : {0.0, 6.0, 7.5, 8.0}) {
        for (const double lat : {-5.0, -1.5, 1.5, 6.0}) {
          SetupFacts f = facts(length_in);
          f.arrow.tip_mass_kg = tip_gr * kGrain;
          if (floor > 0.0) {
            f.bow.min_grains_per_pound = floor;
          }
          if (!stop_texts(f).empty()) {
            continue;
          }
          const Step step = judged({setup("01", f, lat, 0.1)}).next;
          SetupFacts after = f;
          const double amount = step.amount.value_or(0.0);
          if (step.kind == StepKind::trim_shaft) {
            *after.arrow.shaft_length_m -= amount;
          } else if (step.kind == StepKind::lighter_tip) {
            *after.arrow.tip_mass_kg -= amount;
          } else if (step.kind == StepKind::weaker_shaft) {
            *after.arrow.mass_per_length_kg_per_m *= 0.92;  // a group of a sixth in stiffness
          }
          CAPTURE(step.words);
          CHECK(stop_texts(after).empty());
        }
      }
    }
  }
}
