// The record and the judgement of a session side by side.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::page {

struct ShotView {
  const tune::JudgedShot* judged = nullptr;
  int number = 0;                               // within its set-up, from 1: its name in charts
  const tune::ClipRecord* clip = nullptr;       // null: not in the record
  const Shot* shot = nullptr;                   // likewise
  std::optional<Measured> lat_slope_deg_per_m;  // in the bow's frame, like the judged offsets
  std::optional<Measured> vert_slope_deg_per_m;
};

// A shot filmed from the side: up and down alone.
struct SideShotView {
  const tune::SideShot* judged = nullptr;
  const tune::ClipRecord* clip = nullptr;  // null: not in the record
};

struct SetupView {
  const tune::SetupRecord* record = nullptr;
  const tune::SetupJudgement* judged = nullptr;
  const tune::SetupFacts* before = nullptr;  // of the set-up shot before it
  std::vector<ShotView> shots;
  std::vector<SideShotView> from_side;
};

// The set-ups that both hold, in order of shooting.
std::vector<SetupView> views_of(const tune::SessionRecord& session,
                                const tune::SessionJudgement& judgement);

// The latest with a lateral or vertical offset, or null.
const SetupView* latest_measured(const std::vector<SetupView>& views);

// "evening-03.mp4", or "evening-03.mp4, shot 2" for a later shot of a clip ("evening-03.mp4#2").
std::string shot_name(const std::string& clip);

}  // namespace nocktrail::page
