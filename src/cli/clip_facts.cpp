#include "clip_facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>
#include <utility>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
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
                                                 const fs::path& clip,
                                                 const session::ArcherFiles& archer) {
  const session::Plan plan = session::load(folder, archer);
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

namespace {

std::optional<tune::SetupFacts> folder_facts(const std::string& asked, const fs::path& clip,
                                             const session::ArcherFiles& archer) {
  if (asked.empty()) {
    const fs::path folder = whole_path(clip).parent_path();
    const fs::path above = folder.parent_path();
    if (there(folder / session::kSetupFile) || there(above / session::kSessionFile)) {
      return facts_in_session(above, folder.filename().string(), clip, archer);
    }
    if (there(folder / session::kSessionFile)) {
      return facts_in_session(folder, ".", clip, archer);
    }
    return std::nullopt;
  }
  const std::string text = content_of(asked);
  const fs::path file = whole_path(asked);
  const fs::path folder = file.parent_path();
  if (file.filename() == session::kSetupFile) {
    return facts_in_session(folder.parent_path(), folder.filename().string(), clip, archer);
  }
  // The whole session's file: what it says for every set-up, unless the clip lies in one.
  if (file.filename() == session::kSessionFile) {
    if (auto facts = facts_in_session(folder, {}, clip, archer)) {
      return facts;
    }
  }
  return session::parse_facts(text, asked, session::FactsKind::session, {},
                              session::read_phones(archer.phones))
      .facts;
}

// Where a fact is from that is used; empty where it is not there. What the command line asked, what
// was used, what the folder's files say.
template <typename Value>
std::optional<report::FactFrom> source_of(const Value& asked, const Value& used,
                                          const Value& of_folder, const Value& none) {
  if (used == none) {
    return std::nullopt;
  }
  return asked != none       ? report::FactFrom::told
         : used == of_folder ? report::FactFrom::folder
                             : report::FactFrom::profile;
}

const char* words_of(report::FactFrom from) {
  switch (from) {
    case report::FactFrom::told:
      return "told";
    case report::FactFrom::folder:
      return "the folder's files";
    case report::FactFrom::profile:
      break;
  }
  return "your profile";
}

std::string in_words(const report::FactUsed& fact) {
  if (const auto* word = std::get_if<std::string>(&fact.value)) {
    return fmt::format("{} {}", *word, fact.name);  // "right hand"
  }
  const double value = std::get<double>(fact.value);
  if (fact.name == "arrow_length_m") {
    return fmt::format("arrow {}", tune::inches_and_mm(value));
  }
  constexpr std::array<std::pair<std::string_view, const char*>, 5> kWords{
      {{"cant_deg", "cant {:.3g} deg"},
       {"focal_35mm", "focal length {:.4g} mm"},
       {"capture_fps", "{:.4g} frames a second"},
       {"target_distance_m", "butt at {:.4g} m"},
       {"speed_mps", "{:.4g} m/s"}}};
  const auto* const known = std::find_if(kWords.begin(), kWords.end(),
                                         [&](const auto& one) { return one.first == fact.name; });
  return known == kWords.end() ? fmt::format("{} {:.4g}", fact.name, value)
                               : fmt::format(fmt::runtime(known->second), value);
}

}  // namespace

ToldFacts told_facts(const std::string& asked, const fs::path& clip,
                     const ReadClipOptions& options) {
  const session::ArcherFiles archer = session::default_archer_files();
  const auto profile = session::read_profile(archer);
  ToldFacts told;
  if (const auto folder = folder_facts(asked, clip, {{}, archer.phones})) {
    told.in_session = told.any = true;
    told.of_folder = *folder;
    told.facts = profile ? folder_facts(asked, clip, archer).value_or(*folder) : *folder;
  } else if (profile) {
    tune::SetupFacts by_options;
    by_options.arrow.arrow_length_m = options.arrow_length_m;
    told.any = true;
    told.facts = session::beneath(*profile, by_options);
  }
  return told;
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
  options.bare = facts.arrow.fletching == tune::Fletching::bare;
}

std::optional<Reading> kept_reading(const fs::path& clip, double dead_band_deg) {
  session::ReadSessionOptions settings;
  settings.archer = session::default_archer_files();
  settings.dead_band_deg = dead_band_deg;
  std::optional<tune::ClipRecord> kept = session::kept_reading(clip, settings);
  return kept ? std::optional(std::move(kept->reading)) : std::nullopt;
}

std::vector<report::FactUsed> facts_used(const ReadClipOptions& asked, const ReadClipOptions& used,
                                         const ToldFacts& told) {
  const tune::SetupFacts& folder = told.of_folder;
  std::vector<report::FactUsed> facts;
  if (const auto from = source_of(asked.hand, used.hand, folder.hand, Hand::unknown)) {
    facts.push_back({"hand", std::string(used.hand == Hand::left ? "left" : "right"), *from});
  }
  using Told = std::optional<double>;
  const auto number = [&](const char* name, const Told& of_line, const Told& held,
                          const Told& of_folder) {
    if (const auto from = source_of(of_line, held, of_folder, Told())) {
      facts.push_back({name, *held, *from});
    }
  };
  number("cant_deg", asked.cant_deg, used.cant_deg, folder.cant_deg);
  number("arrow_length_m", asked.arrow_length_m, used.arrow_length_m, folder.arrow.arrow_length_m);
  number("focal_35mm", asked.focal_35mm, used.focal_35mm, folder.camera.focal_35mm);
  number("capture_fps", asked.capture_fps, used.capture_fps, folder.camera.capture_fps);
  number("target_distance_m", asked.target_distance_m, used.target_distance_m,
         folder.target_distance_m);
  number("speed_mps", asked.speed_mps, used.speed_mps, {});
  return facts;
}

std::string read_with_words(const std::vector<report::FactUsed>& facts) {
  std::string words;
  for (const report::FactUsed& fact : facts) {
    words +=
        fmt::format("{}{} ({})", words.empty() ? "" : ", ", in_words(fact), words_of(fact.from));
  }
  return words;
}

}  // namespace nocktrail::cli
