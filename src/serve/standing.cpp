#include "standing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"

namespace nocktrail::serve {
namespace {

// Whether the same of its clips and shots count as when it was judged.
bool counts_as_judged(const session::PlannedSetup& planned, const tune::SetupRecord& judged) {
  return std::all_of(judged.clips.begin(), judged.clips.end(), [&](const tune::ClipRecord& clip) {
    const auto now = std::find_if(planned.clips.begin(), planned.clips.end(), [&](const auto& one) {
      return one.path.filename().string() == clip.file;
    });
    if (now == planned.clips.end()) {
      return true;  // taken away: the watcher sees to it
    }
    const std::string& then = clip.dropped == session::kMarksDoNotCount ? "" : clip.dropped;
    return now->dropped == then && now->dropped_shots == clip.dropped_shots;
  });
}

// Whether the last judgement was of these set-ups with these facts, and not before any of their
// clips was read.
bool as_judged(const session::Plan& plan, const Snapshot& snapshot) {
  const tune::SessionRecord& record = snapshot.published->record;
  const auto all_published = [&](const session::PlannedSetup& setup) {
    return std::all_of(setup.clips.begin(), setup.clips.end(),
                       [&](const auto& clip) { return snapshot.done.count(clip.path) > 0; });
  };
  return std::equal(plan.setups.begin(), plan.setups.end(), record.setups.begin(),
                    record.setups.end(),
                    [&](const session::PlannedSetup& planned, const tune::SetupRecord& judged) {
                      return planned.name == judged.name &&
                             tune::particulars(planned.facts) == tune::particulars(judged.facts) &&
                             tune::stop_texts(planned.facts) == tune::stop_texts(judged.facts) &&
                             counts_as_judged(planned, judged) &&
                             (!judged.clips.empty() || all_published(planned));
                    });
}

tune::Step not_judged(const char* because) {
  tune::Step step;
  step.words = "Change nothing now: nothing new is judged.";
  step.because = because;
  return step;
}

void add(std::vector<std::string>& texts, const std::string& text) {
  if (std::find(texts.begin(), texts.end(), text) == texts.end()) {
    texts.push_back(text);
  }
}

// What shots that were read since forbid by themselves, by set-up: judging takes until all that
// came with them are read. As a step where one is of the latest set-up, which is what is being
// shot.
std::optional<tune::Step> stop_of_fresh(const session::Plan& plan, const Snapshot& snapshot,
                                        Standing& now) {
  std::optional<tune::Step> stop;
  for (const auto& [setup, clip] : snapshot.fresh) {
    const session::PlannedClip* planned = session::planned_clip(plan, setup, clip.file);
    const bool waits = clip.dropped == session::kMarksDoNotCount;
    if (planned == nullptr || waits || !planned->dropped.empty()) {
      continue;
    }
    for (std::size_t i = 0; i < clip.reading.shots.size(); ++i) {
      const Verdict& verdict = clip.reading.shots[i].verdict;
      if (!forbids(verdict.step) || planned->dropped_shots.count(static_cast<int>(i) + 1) > 0) {
        continue;
      }
      add(now.stops[setup], verdict.next_step);
      if (setup == plan.setups.back().name) {
        stop.emplace();
        stop->kind = verdict.step;
        stop->words = verdict.next_step;
        stop->because = fmt::format("Of {}, which was read since the session was judged.",
                                    rules::printable(clip.file));
      }
    }
  }
  return stop;
}

}  // namespace

Standing standing(const std::filesystem::path& folder, const Snapshot& snapshot) {
  Standing now;
  for (const tune::SetupJudgement& judged : snapshot.published->judgement.setups) {
    now.stops[judged.name] = judged.stops;
  }
  session::Plan plan;
  try {
    plan = session::load(folder, session::default_archer_files());
  } catch (const BadInput&) {
    if (!forbids(snapshot.published->judgement.next.kind)) {
      now.instead = not_judged("The session's folder cannot be looked at; it is waited for.");
    }
    return now;
  }
  std::optional<tune::Step> stop = stop_of_fresh(plan, snapshot, now);
  for (const session::PlannedSetup& setup : plan.setups) {
    now.setups.push_back(setup.name);
    now.waiting += static_cast<std::size_t>(
        std::count_if(setup.clips.begin(), setup.clips.end(),
                      [&](const auto& clip) { return snapshot.done.count(clip.path) == 0; }));
  }
  for (const session::PlannedSetup& setup : plan.setups) {
    for (const std::string& text : tune::stop_texts(setup.facts)) {
      add(now.stops[setup.name], text);
    }
  }
  // With a slip in a hand-written file nothing is judged until it is mended, but what the facts
  // that can be made out forbid, they forbid.
  const bool faulty = !plan.faults.empty();
  const bool as_it_was = !faulty && snapshot.fresh.empty() && snapshot.hindered.empty() &&
                         (plan.setups.empty() || as_judged(plan, snapshot));
  if (as_it_was) {
    return now;
  }
  if (!plan.setups.empty()) {
    now.instead = tune::limit_step(plan.setups.back().facts);
  }
  if (!now.instead && stop) {
    now.instead = std::move(stop);
  }
  // What forbade stays until it is known to be mended.
  if (!now.instead && !forbids(snapshot.published->judgement.next.kind)) {
    now.instead = faulty ? not_judged("A file of facts has a slip: mend what is named first.")
                  : !snapshot.hindered.empty()
                      ? not_judged(
                            "What was read cannot be kept; what is in the way is named, and it is "
                            "tried again every 20 s.")
                      : being_judged();
  }
  return now;
}

}  // namespace nocktrail::serve
