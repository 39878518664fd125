#include "clip_facts.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/units/hand_written.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

std::string content_of(const fs::path& path) {
  const std::string source = fmt::format("--setup: {}", rules::printable(path.string()));
  const std::optional<std::string> text = units::read_hand_written(path, source);
  if (!text) {
    throw BadInput(fmt::format("{}: cannot read this file; check its name and rights", source));
  }
  return *text;
}

fs::path whole_path(const fs::path& path) {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(path, error);
  return error ? path : whole;
}

bool there(const fs::path& path) {
  std::error_code error;
  return fs::is_regular_file(path, error);
}

// The facts that hold for `clip` in the session of `folder`, in the set-up of that name, or, for an
// empty name, in the one that holds the clip. Empty without such a set-up.
std::optional<tune::SetupFacts> facts_in_session(const fs::path& folder, const std::string& setup,
                                                 const fs::path& clip) {
  const session::Plan plan = session::load(folder);
  if (!plan.faults.empty()) {
    throw BadInput(plan.faults.front());
  }
  for (const session::PlannedSetup& planned : plan.setups) {
    const auto found = std::find_if(
        planned.clips.begin(), planned.clips.end(),
        [&](const session::PlannedClip& one) { return whole_path(one.path) == whole_path(clip); });
    if (found == planned.clips.end() && (setup.empty() || planned.name != setup)) {
      continue;
    }
    tune::SetupFacts facts = planned.facts;
    if (found != planned.clips.end()) {
      facts.hand = found->hand == Hand::unknown ? facts.hand : found->hand;
      facts.cant_deg = found->cant_deg ? found->cant_deg : facts.cant_deg;
      facts.camera.focal_35mm = found->focal_35mm;
      facts.camera.capture_fps = found->capture_fps;
    }
    return facts;
  }
  return std::nullopt;
}

}  // namespace

std::optional<tune::SetupFacts> told_facts(const std::string& asked, const fs::path& clip) {
  if (asked.empty()) {
    const fs::path folder = whole_path(clip).parent_path();
    const fs::path above = folder.parent_path();
    if (there(folder / session::kSetupFile) || there(above / session::kSessionFile)) {
      return facts_in_session(above, folder.filename().string(), clip);
    }
    if (there(folder / session::kSessionFile)) {
      return facts_in_session(folder, ".", clip);
    }
    return std::nullopt;
  }
  const std::string text = content_of(asked);
  const fs::path file = whole_path(asked);
  const fs::path folder = file.parent_path();
  if (file.filename() == session::kSetupFile) {
    return facts_in_session(folder.parent_path(), folder.filename().string(), clip);
  }
  // The whole session's file: what it says for every set-up, unless the clip lies in one.
  if (file.filename() == session::kSessionFile) {
    if (auto facts = facts_in_session(folder, {}, clip)) {
      return facts;
    }
  }
  return session::parse_facts(text, asked, session::FactsKind::session).facts;
}

void fill_from(const tune::SetupFacts& facts, ReadClipOptions& options) {
  if (options.hand == Hand::unknown) {
    options.hand = facts.hand;
  }
  const auto fill = [](std::optional<double>& option, const std::optional<double>& fact) {
    option = option ? option : fact;
  };
  fill(options.cant_deg, facts.cant_deg);
  fill(options.arrow_length_m, facts.arrow.arrow_length_m);
  fill(options.focal_35mm, facts.camera.focal_35mm);
  fill(options.capture_fps, facts.camera.capture_fps);
  fill(options.target_distance_m, facts.target_distance_m);
  options.fletched = facts.arrow.fletching == tune::Fletching::fletched;
}

}  // namespace nocktrail::cli
