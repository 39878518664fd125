#include "standing.hpp"

#include <algorithm>

#include "nocktrail/error.hpp"
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

tune::Step being_judged() {
  tune::Step step;
  step.words = "One moment: the session is being judged with its facts as they are now.";
  step.because =
      "What was said before may no longer hold. Where this stays, the messages below say why.";
  return step;
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
    return now;
  }
  for (const session::PlannedSetup& setup : plan.setups) {
    now.setups.push_back(setup.name);
    now.waiting += static_cast<std::size_t>(
        std::count_if(setup.clips.begin(), setup.clips.end(),
                      [&](const auto& clip) { return snapshot.done.count(clip.path) == 0; }));
  }
  // With a slip in a hand-written file nothing is judged until it is mended; that is said.
  if (!plan.faults.empty() || plan.setups.empty()) {
    return now;
  }
  for (const session::PlannedSetup& setup : plan.setups) {
    std::vector<std::string>& texts = now.stops[setup.name];
    for (const std::string& text : tune::stop_texts(setup.facts)) {
      if (std::find(texts.begin(), texts.end(), text) == texts.end()) {
        texts.push_back(text);
      }
    }
  }
  if (!as_judged(plan, snapshot)) {
    now.instead = tune::limit_step(plan.setups.back().facts);
    if (!now.instead && !forbids(snapshot.published->judgement.next.kind)) {
      // What forbade stays until it is known to be mended.
      now.instead = being_judged();
    }
  }
  return now;
}

}  // namespace nocktrail::serve
