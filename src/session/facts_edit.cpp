#include "nocktrail/session/facts_edit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <system_error>
#include <utility>
#include <vector>

#include "facts_places.hpp"
#include "hand_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/safe_name.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_edit.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

// A reason is said in a line of a table, on a phone.
constexpr std::size_t kLongestReason = 200;
constexpr std::size_t kLongestSetupName = 40;
constexpr const char* kNewSetup = "the new set-up";

constexpr std::array<ChangeableFact, 12> kFacts = {{
    {"bow.nocking_point", "Nocking point above square", "7/16in"},
    {"bow.brace_height", "Brace height", "7 1/4in"},
    {"bow.plate_offset", "Strike plate from the string's plane", "1/16in"},
    {"bow.string", "String", "14 strands"},
    {"arrow.tip_mass", "Tip weight", "125gr"},
    {"arrow.shaft_length", "Shaft length", "30 3/4in"},
    {"arrow.arrow_length", "Arrow length, with the tip", "31 1/2in"},
    {"arrow.spine", "Spine", "0.500in"},
    {"arrow.fletching", "Fletching", "bare"},
    {"arrow.total_mass", "Whole arrow, weighed", "383gr"},
    {"arrow.name", "Arrow", "cedar, third dozen"},
    {"archer.draw_length", "Draw length", "28in"},
}};

std::string shown(const fs::path& path) {
  return rules::printable(path.string());
}

// A file and the table in it that speaks of the clip.
struct Mention {
  fs::path file;
  std::string table;
};

bool drops(const Mention& mention) {
  units::TomlTable root = units::TomlTable::parse(hand_text(mention.file), shown(mention.file));
  std::optional<units::TomlTable> clips = root.inner("clip");
  std::optional<units::TomlTable> clip = clips ? clips->inner(mention.table) : std::nullopt;
  return clip && clip->has("drop");
}

void change(const Mention& mention, const std::optional<std::string>& reason) {
  const std::string before = hand_text(mention.file);
  const std::string text =
      units::with_text(before, shown(mention.file), {"clip", mention.table, "drop"}, reason);
  if (text != before) {
    replace_hand_text(mention.file, before, text);
  }
}

void refuse_faults(const Plan& plan) {
  if (!plan.faults.empty()) {
    throw BadInput(fmt::format("{}; mend that first", plan.faults.front()));
  }
}

std::optional<std::string> reason_now(const PlannedClip& clip, int shot) {
  if (shot == 0) {
    return clip.dropped.empty() ? std::nullopt : std::optional<std::string>(clip.dropped);
  }
  const auto found = clip.dropped_shots.find(shot);
  return found == clip.dropped_shots.end() ? std::nullopt
                                           : std::optional<std::string>(found->second);
}

std::string tidy(std::string words, std::size_t most) {
  std::replace_if(
      words.begin(), words.end(), [](unsigned char c) { return std::isspace(c) != 0; }, ' ');
  words = units::quoted_briefly(rules::printable(words), most);
  const auto blank = [](unsigned char c) { return std::isspace(c) != 0; };
  words.erase(words.begin(), std::find_if_not(words.begin(), words.end(), blank));
  words.erase(std::find_if_not(words.rbegin(), words.rend(), blank).base(), words.end());
  return words;
}

// The number that the next set-up's name begins with.
int next_number(const std::vector<PlannedSetup>& setups) {
  int last = 0;
  for (const PlannedSetup& setup : setups) {
    int number = 0;
    const char* end = setup.name.data() + setup.name.size();
    if (std::from_chars(setup.name.data(), end, number).ec == std::errc() && number < 1'000'000) {
      last = std::max(last, number);
    }
  }
  return last + 1;
}

// A fault of the file in the words of the form that it was made from.
std::string for_the_field(std::string fault, const std::string& field) {
  const std::size_t place = fault.find(field);
  const auto fact = std::find_if(kFacts.begin(), kFacts.end(),
                                 [&](const ChangeableFact& one) { return field == one.field; });
  if (!field.empty() && place != std::string::npos && fact != kFacts.end()) {
    fault = fact->words + fault.substr(place + field.size());
  }
  return fault;
}

// A name that comes after `last`, which any number comes before: "bare", "bare-2-nock-down",
// "bare-3-brace".
std::string numbered_after(const std::vector<PlannedSetup>& setups, const std::string& last,
                           const std::string& words) {
  for (const PlannedSetup& setup : setups) {
    const std::string base = setup.name + "-";
    if (last.starts_with(base)) {
      int number = 0;
      const char* end = last.data() + last.size();
      const auto parsed = std::from_chars(last.data() + base.size(), end, number);
      if (parsed.ec == std::errc() && parsed.ptr != end && *parsed.ptr == '-' &&
          number < 1'000'000) {
        return fmt::format("{}{}-{}", base, number + 1, words);
      }
    }
  }
  return fmt::format("{}-2-{}", last, words);
}

std::string text_for(const NewSetup& wanted) {
  const auto known = [&](const ChangeableFact& fact) { return wanted.field == fact.field; };
  std::string text;
  if (!wanted.field.empty()) {
    if (std::none_of(kFacts.begin(), kFacts.end(), known)) {
      throw BadInput("choose what changes from the list");
    }
    const std::string value = tidy(wanted.value, kLongestReason);
    if (value.empty()) {
      throw BadInput("say what it is now, with its unit");
    }
    const std::size_t dot = wanted.field.find('.');
    text = units::with_text(text, kNewSetup,
                            {wanted.field.substr(0, dot), wanted.field.substr(dot + 1)}, value);
  }
  if (const std::string notes = tidy(wanted.notes, 4 * kLongestReason); !notes.empty()) {
    text = units::with_text(text, kNewSetup, {"notes"}, notes);
  }
  return text;
}

// The clips of a session without set-ups on their way into one: what was moved goes back unless all
// of it is done.
class Gathering {
 public:
  explicit Gathering(const Plan& plan) : from_(plan.folder), to_(plan.folder / kGathered) {
    std::error_code error;
    const bool made = fs::create_directory(to_, error);
    if (!made &&
        (error || !fs::is_directory(fs::symlink_status(to_, error)) || !fs::is_empty(to_, error))) {
      throw BadInput(fmt::format("{}: cannot be made ({}); see to the folder on the computer",
                                 shown(to_), error ? error.message() : "it is there already"));
    }
    try {
      for (const PlannedClip& clip : plan.setups.front().clips) {
        if (!clip.away) {
          move(clip.path.filename());
        }
        const fs::path beside = reading_beside(clip.path);
        if (fs::exists(fs::symlink_status(beside, error))) {
          move(beside.filename());
        }
      }
    } catch (const BadInput&) {
      undo();
      throw;
    }
  }

  void undo() noexcept {
    std::error_code error;
    for (const fs::path& name : moved_) {
      fs::rename(to_ / name, from_ / name, error);
    }
    fs::remove(to_, error);  // unless something else came into it
  }

 private:
  void move(const fs::path& name) {
    std::error_code error;
    if (fs::is_symlink(fs::symlink_status(from_ / name, error))) {
      error =
          std::make_error_code(std::errc::operation_not_permitted);  // it may lead elsewhere then
    } else {
      fs::rename(from_ / name, to_ / name, error);
    }
    if (error) {
      throw BadInput(fmt::format("{}: cannot be moved into {} ({}); see to it on the computer",
                                 shown(from_ / name), kGathered, error.message()));
    }
    moved_.push_back(name);
  }

  fs::path from_;
  fs::path to_;
  std::vector<fs::path> moved_;
};

}  // namespace

std::span<const ChangeableFact> changeable_facts() {
  return kFacts;
}

LeaveOut leave_out(const fs::path& folder, const ClipPlace& place,
                   const std::optional<std::string>& reason,
                   const std::optional<std::string>& was) {
  const Plan plan = load(folder, default_archer_files());
  refuse_faults(plan);
  const PlannedClip* clip = planned_clip(plan, place.setup, place.clip);
  if (clip == nullptr) {
    return LeaveOut::no_such_clip;
  }
  if (reason_now(*clip, place.shot) != was) {
    return LeaveOut::changed;
  }
  std::optional<std::string> words;
  if (reason) {
    words = tidy(*reason, kLongestReason);
    if (words->empty()) {
      throw BadInput("give the reason, for example: plucked");
    }
  }
  const std::string table =
      place.shot == 0 ? place.clip : fmt::format("{}#{}", place.clip, place.shot);
  std::vector<Mention> mentions;
  for (form::ClipTable& one : form::tables_of_clip(place.setup, table)) {
    mentions.push_back(
        {one.in_session ? plan.folder / kSessionFile : plan.folder / place.setup / kSetupFile,
         std::move(one.name)});
  }
  bool spoken_of = false;
  for (const Mention& mention : mentions) {
    if (drops(mention)) {
      change(mention, words);
      spoken_of = true;
    }
  }
  if (!spoken_of) {
    change(mentions.front(), words);
  }
  return LeaveOut::done;
}

bool would_be_confused(const fs::path& folder, const ClipPlace& place) {
  try {
    const Plan plan = load(folder, default_archer_files());
    const bool elsewhere =
        std::any_of(plan.setups.begin(), plan.setups.end(), [&](const PlannedSetup& setup) {
          return setup.name != place.setup &&
                 std::any_of(setup.clips.begin(), setup.clips.end(), [&](const PlannedClip& clip) {
                   return clip.path.filename().string() == place.clip;
                 });
        });
    if (!elsewhere) {
      return false;
    }
    const fs::path file = plan.folder / kSessionFile;
    units::TomlTable root = units::TomlTable::parse(hand_text(file), shown(file));
    const std::optional<units::TomlTable> clips = root.inner("clip");
    const std::vector<std::string> named = clips ? clips->keys() : std::vector<std::string>{};
    return std::any_of(named.begin(), named.end(), [&](const std::string& one) {
      return one == place.clip || one.starts_with(place.clip + "#");
    });
  } catch (const BadInput&) {
    return false;  // what cannot be made out speaks of nothing
  }
}

std::string begin_setup(const fs::path& folder, const ArcherFiles& archer, const NewSetup& wanted) {
  const Plan plan = load(folder, archer);
  refuse_faults(plan);
  const bool none_yet = plan.setups.size() == 1 && plan.setups.front().name == ".";
  const bool gather = none_yet && !plan.setups.front().clips.empty();
  if (gather && !wanted.gather) {
    throw BadInput(fmt::format(
        "the clips of this session lie in its own folder and would belong to no set-up then; move "
        "them into a folder inside it, such as {}",
        kGathered));
  }
  const std::string text = text_for(wanted);
  try {
    parse_facts(text, kNewSetup, FactsKind::setup, plan.setups.back().facts,
                read_phones(archer.phones));
  } catch (const BadInput& problem) {
    throw BadInput(for_the_field(problem.what(), wanted.field));
  }
  // "3 1/4 in" is a figure, no path.
  std::string typed = wanted.name;
  const auto digit = [&](std::size_t at) {
    return at < typed.size() && typed[at] >= '0' && typed[at] <= '9';
  };
  for (std::size_t at = 1; at + 1 < typed.size(); ++at) {
    if (typed[at] == '/' && digit(at - 1) && digit(at + 1)) {
      typed[at] = '-';
    }
  }
  std::string words = safe_name(typed, kLongestSetupName);
  std::replace(words.begin(), words.end(), ' ', '-');
  if (words.empty()) {
    words = "set-up";
  }
  const std::string last = gather ? kGathered : none_yet ? "" : plan.setups.back().name;
  const int number = gather ? 2 : none_yet ? 1 : next_number(plan.setups);
  std::string name = fmt::format("{}-{}", number, words);
  if (!natural_less(last, name)) {
    name = numbered_after(plan.setups, last, words);
  }
  std::optional<Gathering> gathered;
  if (gather) {
    gathered.emplace(plan);
  }
  const auto give_up = [&] {
    if (gathered) {
      gathered->undo();
    }
  };
  std::error_code error;
  if (!fs::create_directory(plan.folder / name, error)) {
    give_up();
    throw BadInput(fmt::format("{}: cannot be made ({}); choose another name, or check the folder",
                               shown(plan.folder / name),
                               error ? error.message() : "it is there already"));
  }
  try {
    report::write_file_whole(plan.folder / name / kSetupFile, text);
  } catch (const BadInput&) {
    fs::remove(plan.folder / name, error);
    give_up();
    throw;
  }
  return name;
}

}  // namespace nocktrail::session
