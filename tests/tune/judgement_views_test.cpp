#include <doctest/doctest.h>

#include <limits>
#include <nlohmann/json.hpp>
#include <set>
#include <string>

#include "nocktrail/tune/judgement_json.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "tune/session_maker.hpp"

using namespace nocktrail;
using namespace nocktrail::tune;
using namespace nocktrail::tune::made;

namespace {

std::set<std::string> keys_of(const nlohmann::json& object) {
  std::set<std::string> keys;
  for (const auto& [key, value] : object.items()) {
    keys.insert(key);
  }
  return keys;
}

}  // namespace

// The keys that docs/tuning.md lists.
TEST_CASE("unit: every key of nocktrail.session/2 is there") {
  const SessionRecord record = session({setup("01", facts(), -3.0, 0.1)});
  const nlohmann::json json = judgement_json(record, judge_session(record, quick()));
  CHECK(json["schema"] == "nocktrail.session/2");
  CHECK(keys_of(json) == std::set<std::string>{"schema", "session", "made_up", "next", "setups",
                                               "learned", "build_sheet", "cautions"});
  CHECK(keys_of(json["next"]) == std::set<std::string>{"kind", "amount", "words", "because",
                                                       "overshoot_chance", "cautions"});
  CHECK(keys_of(json["setups"][0]) ==
        std::set<std::string>{"name", "shots", "side_shots", "counted", "refused", "stops", "bow",
                              "lateral", "vertical", "correlation", "spine", "nocking_point",
                              "summary", "warnings"});
  REQUIRE_FALSE(json["learned"].empty());
  CHECK(keys_of(json["learned"][0]) ==
        std::set<std::string>{"quantity", "unit", "offset", "data", "prior", "posterior",
                              "slope_deg_per_unit", "prior_slope_deg_per_unit", "straight_at",
                              "prior_words"});
  CHECK(json["build_sheet"].is_null());
  CHECK(json["next"]["kind"] == "lighter-tip");
  CHECK(nlohmann::json::parse(json.dump()) == json);
}

TEST_CASE("fault: what is not finite or not UTF-8 does not break the JSON") {
  SessionRecord record = session({});
  record.name = "broken \xff name";
  SessionJudgement judgement;
  judgement.next.amount = std::numeric_limits<double>::infinity();
  judgement.next.words = "film";
  const nlohmann::json json = judgement_json(record, judgement);
  CHECK(json["next"]["amount"].is_null());
  CHECK(json["session"] == "broken ? name");
  CHECK_NOTHROW(json.dump());
}

TEST_CASE("unit: the text leads with the next step and names what stands apart") {
  SetupRecord one = setup("01 full length", facts(), -3.0, 0.1);
  one.clips[1].dropped = "plucked";
  const SessionRecord record = session({one});
  const SessionJudgement judgement = judge_session(record, quick());
  const std::string text = judgement_text(record, judgement);
  CHECK(text.find("Next step: Fit a tip") != std::string::npos);
  CHECK(text.find("Next step") < text.find("01 full length"));
  CHECK(text.find("plucked") != std::string::npos);
  CHECK(text.find("Weigh it before shooting") != std::string::npos);
  CHECK(text.back() == '\n');
  CHECK(judgement_line(record, judgement).find('\n') == std::string::npos);
  CHECK(build_sheet_text(judgement).empty());
}
