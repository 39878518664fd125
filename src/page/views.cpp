#include "views.hpp"

#include <algorithm>
#include <charconv>

#include "nocktrail/rules/rules.hpp"

namespace nocktrail::page {
namespace {

struct ClipAndShot {
  std::string clip;
  std::size_t shot = 0;  // from 0
};

// "name#2" is the second shot of "name"; a '#' that no number follows belongs to the name.
ClipAndShot parted(const std::string& name) {
  const std::size_t hash = name.rfind('#');
  if (hash != std::string::npos && hash + 1 < name.size()) {
    std::size_t number = 0;
    const char* end = name.data() + name.size();
    const auto [stop, error] = std::from_chars(name.data() + hash + 1, end, number);
    if (error == std::errc() && stop == end && number > 0) {
      return {name.substr(0, hash), number - 1};
    }
  }
  return {name, 0};
}

const tune::ClipRecord* clip_named(const tune::SetupRecord& setup, const std::string& name) {
  const auto found = std::find_if(setup.clips.begin(), setup.clips.end(),
                                  [&](const tune::ClipRecord& clip) { return clip.file == name; });
  return found == setup.clips.end() ? nullptr : &*found;
}

void find_shot(ShotView& view, const tune::SetupRecord& setup, const Bow& bow) {
  ClipAndShot where{view.judged->clip, 0};
  view.clip = clip_named(setup, where.clip);
  if (view.clip == nullptr) {
    where = parted(view.judged->clip);
    view.clip = clip_named(setup, where.clip);
  }
  if (view.clip == nullptr || where.shot >= view.clip->reading.shots.size()) {
    return;
  }
  view.shot = &view.clip->reading.shots[where.shot];
  const Shot& shot = *view.shot;
  if (!shot.nock_right_slope_deg_per_m || !shot.nock_high_slope_deg_per_m) {
    return;
  }
  const double as_seen_deg = shot.cant_seen_deg ? shot.cant_seen_deg->value : bow.cant_deg.value;
  const double cant_deg = view.clip->cant_deg.value_or(setup.facts.cant_deg.value_or(as_seen_deg));
  // The slopes' errors trade against each other as the offsets' do: the same camera sees both.
  const rules::BowFrameReading slopes =
      rules::bow_frame_from_range(*shot.nock_right_slope_deg_per_m, *shot.nock_high_slope_deg_per_m,
                                  shot.right_high_correlation, cant_deg);
  view.lat_slope_deg_per_m = slopes.lat_deg;
  view.vert_slope_deg_per_m = slopes.vert_deg;
}

}  // namespace

std::vector<SetupView> views_of(const tune::SessionRecord& session,
                                const tune::SessionJudgement& judgement) {
  std::vector<SetupView> views;
  const tune::SetupFacts* before = nullptr;
  for (const tune::SetupRecord& record : session.setups) {
    const auto judged =
        std::find_if(judgement.setups.begin(), judgement.setups.end(),
                     [&](const tune::SetupJudgement& setup) { return setup.name == record.name; });
    if (judged == judgement.setups.end()) {
      continue;
    }
    SetupView view;
    view.record = &record;
    view.judged = &*judged;
    view.before = before;
    before = &record.facts;
    for (const tune::JudgedShot& shot : judged->shots) {
      ShotView shot_view;
      shot_view.judged = &shot;
      shot_view.number = static_cast<int>(view.shots.size()) + 1;
      find_shot(shot_view, record, judged->bow);
      view.shots.push_back(shot_view);
    }
    for (const tune::SideShot& shot : judged->side_shots) {
      const tune::ClipRecord* clip = clip_named(record, shot.clip);
      view.from_side.push_back(
          {&shot, clip != nullptr ? clip : clip_named(record, parted(shot.clip).clip)});
    }
    views.push_back(std::move(view));
  }
  return views;
}

const SetupView* latest_measured(const std::vector<SetupView>& views) {
  const auto found = std::find_if(views.rbegin(), views.rend(), [](const SetupView& view) {
    return view.judged->lateral || view.judged->vertical;
  });
  return found == views.rend() ? nullptr : &*found;
}

std::string shot_name(const std::string& clip) {
  const ClipAndShot where = parted(clip);
  return where.shot == 0 ? clip : where.clip + ", shot " + std::to_string(where.shot + 1);
}

}  // namespace nocktrail::page
