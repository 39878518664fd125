// Why a clip holds no shot: each reason alone, and all that hold together.
#include <doctest/doctest.h>

#include <functional>
#include <string>

#include "nocktrail/rules/safety.hpp"
#include "view_hint.hpp"
#include "why_no_shot.hpp"

using namespace nocktrail;

namespace {

// A bright, steady clip in which something set off with a knock and receded, but was no arrow.
pipeline::WhatWasSeen fit_for_a_shot() {
  pipeline::WhatWasSeen seen;
  seen.knocks = 2;
  seen.surges = 1;
  seen.bright = 180.0;
  seen.most_motion = 0.3;
  seen.noticed.stretch_seen = true;
  seen.noticed.at_s = 1.25;
  seen.noticed.noise = 1.0;
  seen.noticed.turning_deg_s = 1.0;
  seen.noticed.receding = true;
  return seen;
}

struct Reason {
  std::string name;
  std::function<void(pipeline::WhatWasSeen&)> bring;
  std::string says;
  std::string advises;
};

bool holds(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("unit: each reason for there being no shot says what to do") {
  const std::vector<Reason> reasons{
      {"black", [](auto& s) { s.bright = 17.0; }, "too dark", "light"},
      {"noise in the dark",
       [](auto& s) {
         s.bright = 64.0;
         s.noticed.noise = 5.8;
       },
       "too dark", "light"},
      {"still",
       [](auto& s) {
         s.surges = 0;
         s.most_motion = 0.002;
         s.noticed = {};
       },
       "nothing moved", "film the shot itself"},
      {"nothing sets off",
       [](auto& s) {
         s.surges = 0;
         s.noticed = {};
       },
       "no loose was seen", "loose in the clip"},
      {"nothing to hear", [](auto& s) { s.knocks = 0; }, "no loose was heard", "sound on"},
      {"a camera that swings", [](auto& s) { s.noticed.turning_deg_s = 40.0; },
       "camera moved too much", "stand"},
      {"a camera that is lost", [](auto& s) { s.noticed.lost_share = 0.9; },
       "camera's motion cannot be told", "steady the phone"},
      {"from the side", [](auto& s) { s.noticed.crossing = true; },
       "went across the picture as an arrow does that is filmed from the side",
       "film from behind and above"},
      {"hidden", [](auto&) {}, "flight is hidden", "clear of head, hat and limb"},
      {"nothing recedes", [](auto& s) { s.noticed.receding = false; }, "or there was none",
       "6 cm further to the left, to the right for a left-handed archer"},
      {"too short",
       [](auto& s) {
         s.too_few_frames = true;
         s.noticed = {};
       },
       "too few frames", "stop after the hit"},
      {"too much to look at", [](auto& s) { s.cut_short = true; }, "not every moment",
       "cut the clip"}};
  for (const Reason& reason : reasons) {
    CAPTURE(reason.name);
    pipeline::WhatWasSeen seen = fit_for_a_shot();
    reason.bring(seen);
    const std::string said = pipeline::why_no_shot(seen);
    CAPTURE(said);
    CHECK(holds(said, reason.says));
    CHECK(holds(said, reason.advises));
    CHECK_FALSE(holds(said, "\n"));
    // What is found by exclusion is said of nothing that has a reason of its own.
    if (reason.says != "flight is hidden" && reason.says != "not every moment") {
      CHECK_FALSE(holds(said, "its flight is hidden"));
    }
  }
}

TEST_CASE("unit: all reasons that hold are given, the first one leading, advice once") {
  pipeline::WhatWasSeen seen = fit_for_a_shot();
  seen.bright = 20.0;
  seen.knocks = 0;
  seen.noticed.crossing = true;
  const std::string said = pipeline::why_no_shot(seen);
  CAPTURE(said);
  CHECK(said.find("too dark") < said.find("; also no loose was heard"));
  CHECK(said.find("no loose was heard") < said.find("from the side"));
  // A clip without sound is no clip in which nothing was heard.
  seen.knocks.reset();
  CHECK_FALSE(holds(pipeline::why_no_shot(seen), "heard"));
  // Nothing known at all: where to stand.
  pipeline::WhatWasSeen nothing = fit_for_a_shot();
  nothing.noticed = {};
  CHECK(holds(pipeline::why_no_shot(nothing), "no arrow was seen leaving the bow"));
  CHECK(holds(pipeline::why_no_shot(nothing), "film from behind and above"));
}

TEST_CASE("unit: the view that was told, or taken, is doubted where nothing was measured") {
  Reading reading;
  reading.status = ClipStatus::refused;
  reading.reason = "too dark";
  reading.shots.resize(1);
  reading.shots[0].status = ShotStatus::refused;
  reading.shots[0].view = View::side;
  reading.shots[0].reason = "too dark";

  Reading told = reading;
  pipeline::hint_at_view(told, View::behind);
  CHECK(told.reason ==
        "too dark; it was told to be filmed from behind: if it was not, leave that "
        "out");
  Reading taken = reading;
  pipeline::hint_at_view(taken, std::nullopt);
  CHECK(holds(taken.reason, "if it was filmed from behind, that was not the arrow"));
  Reading behind = reading;
  behind.shots[0].view = View::behind;
  pipeline::hint_at_view(behind, std::nullopt);
  CHECK(behind.reason == "too dark");
  Reading measured = reading;
  measured.status = ClipStatus::measured;
  pipeline::hint_at_view(measured, View::behind);
  CHECK(measured.reason == "too dark");
}

TEST_CASE("unit: nothing is said against a reading that forbids to shoot the arrow") {
  Reading reading;
  reading.status = ClipStatus::refused;
  reading.reason = "too dark";
  reading.shots.resize(2);
  for (Shot& shot : reading.shots) {
    shot.status = ShotStatus::refused;
    shot.view = View::side;
    shot.reason = "too dark";
  }
  // The second shot's, which is not the clip's reason.
  reading.shots[1].reason =
      std::string("the arrow seems to stand 24 deg ") + rules::kAcrossItsFlight;
  pipeline::hint_at_view(reading, std::nullopt);
  CHECK(reading.reason == "too dark");
  pipeline::hint_at_view(reading, View::behind);
  CHECK(reading.reason == "too dark");
}
