// Listing the folder and laying the hand-written files over one another.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <fstream>
#include <system_error>

#include "nocktrail/error.hpp"
#include "nocktrail/media/film.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

constexpr std::array<std::string_view, 13> kVideoEndings = {".mp4", ".mov", ".m4v", ".mkv", ".webm",
                                                            ".avi", ".3gp", ".3g2", ".mts", ".m2ts",
                                                            ".ts",  ".mpg", ".mpeg"};

constexpr std::string_view kReadingEnding = ".reading.json";

// Of anything odd of one kind; the rest is counted.
constexpr std::size_t kMostNamed = 5;

std::string shown(const fs::path& path) {
  return rules::printable(path.string());
}

bool hidden(const fs::path& path) {
  return path.filename().string().starts_with('.');
}

struct Listing {
  std::vector<PlannedClip> clips;
  std::vector<fs::path> folders;
  std::vector<fs::path> links_away;  // to folders, which are not gone into
  std::vector<fs::path> misnamed;    // nearly a file of facts, by the name
};

// An editor's or a system's idea of the two names: other letters, an ending of its own.
bool nearly_facts(const fs::path& path) {
  const std::string name = path.filename().string();
  std::string plain = name;
  std::transform(plain.begin(), plain.end(), plain.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (plain.ends_with(".txt")) {
    plain.resize(plain.size() - 4);
  }
  return name != kSessionFile && name != kSetupFile &&
         (plain == kSessionFile || plain == kSetupFile ||
          plain == fs::path(kSessionFile).stem().string() ||
          plain == fs::path(kSetupFile).stem().string());
}

// A link to a folder leads out of the session or round in it; nothing is read behind one.
bool is_link(const fs::directory_entry& entry) {
  std::error_code gone;
  return entry.is_symlink(gone);
}

// Empty for what is no reading by its name.
fs::path clip_of_reading(const fs::path& path) {
  std::string clip = path.string();
  if (!clip.ends_with(kReadingEnding)) {
    return {};
  }
  clip.resize(clip.size() - kReadingEnding.size());
  return is_video_name(clip) ? fs::path(clip) : fs::path();
}

PlannedClip clip_at(const fs::path& path, bool away) {
  PlannedClip clip;
  clip.path = path;
  clip.away = away;
  return clip;
}

// A replay that was kept beside the clips under the name that the program gave it.
bool is_replay(const fs::path& path) {
  if (!path.filename().string().ends_with("-replay.mp4")) {
    return false;
  }
  std::string head(std::size_t{1} << 16U, '\0');  // its index comes first, and is short
  std::ifstream file(path, std::ios::binary);
  file.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(file.gcount()));
  return media::is_own_film(head);
}

// Sorted. Throws BadInput when it cannot be listed.
Listing list(const fs::path& folder) {
  Listing listing;
  std::error_code error;
  fs::directory_iterator entry(folder, error);
  for (; !error && entry != fs::directory_iterator(); entry.increment(error)) {
    std::error_code gone;  // a file may vanish between listing and asking
    if (hidden(entry->path())) {
      continue;
    }
    if (entry->is_directory(gone)) {
      const fs::path name = entry->path().filename();
      if (name != kResultsFolder && name != kMarksFolder) {
        (is_link(*entry) ? listing.links_away : listing.folders).push_back(entry->path());
      }
    } else if (is_video_name(entry->path()) && entry->is_regular_file(gone)) {
      if (is_replay(entry->path())) {
        continue;
      }
      listing.clips.push_back(clip_at(entry->path(), false));
    } else if (nearly_facts(entry->path()) && entry->is_regular_file(gone)) {
      listing.misnamed.push_back(entry->path());
    } else if (const fs::path clip = clip_of_reading(entry->path());
               !clip.empty() && entry->is_regular_file(gone) && !fs::exists(clip, gone)) {
      listing.clips.push_back(clip_at(clip, true));
    }
  }
  if (error) {
    throw BadInput(error == std::errc::not_a_directory
                       ? fmt::format("{}: is a file, not the folder of a session; for one clip: "
                                     "nocktrail read {}",
                                     shown(folder), shown(folder))
                       : fmt::format("{}: cannot be listed ({}); give the folder of a session",
                                     shown(folder), error.message()));
  }
  const auto by_name = [](const fs::path& a, const fs::path& b) {
    return natural_less(a.filename().string(), b.filename().string());
  };
  std::sort(listing.clips.begin(), listing.clips.end(),
            [&](const PlannedClip& a, const PlannedClip& b) { return by_name(a.path, b.path); });
  std::sort(listing.folders.begin(), listing.folders.end(), by_name);
  return listing;
}

class Planner {
 public:
  Planner(const fs::path& folder, const ArcherFiles& archer) : profile_file_(archer.profile) {
    std::error_code error;
    plan_.folder = fs::weakly_canonical(fs::absolute(folder, error), error);
    if (plan_.folder.empty()) {
      plan_.folder = folder;
    }
    plan_.name = plan_.folder.filename().string();
    try {
      phones_ = read_phones(archer.phones);
      profile_ = read_profile(archer);
    } catch (const BadInput& fault) {
      plan_.faults.emplace_back(fault.what());
    }
  }

  Plan plan() {
    const Listing top = list(plan_.folder);
    name_misnamed(top.misnamed, kSessionFile);
    const FactsTold session = session_facts();
    if (!session.name.empty()) {
      plan_.name = session.name;
    }
    plan_.made_up = session.made_up;
    std::vector<PlannedSetup> setups = set_ups(top, session.facts);
    if (setups.empty()) {
      plan_.setups.push_back({".", session.facts, planned(top.clips, session.facts)});
    } else {
      plan_.setups = std::move(setups);
      for (const PlannedClip& clip : top.clips) {
        plan_.messages.push_back(fmt::format(
            "{}: belongs to no set-up and is left out; move it into the folder of one, such as {}",
            shown(clip.path), shown(plan_.setups.front().name)));
      }
    }
    overrule_from_session(session.clips);
    if (missing_ > kMostNamed) {
      plan_.messages.push_back(
          fmt::format("{}: {} more [clip] tables are of clips that are not there",
                      shown(plan_.folder), missing_ - kMostNamed));
    }
    return std::move(plan_);
  }

 private:
  // What session.toml says, over what the archer's profile says where it leaves that open.
  FactsTold session_facts() {
    const fs::path file = plan_.folder / kSessionFile;
    FactsTold alone = facts(file, FactsKind::session, {});
    // What was never shot is nobody's.
    if (!profile_ || !alone.made_up.empty() || !plan_.faults.empty()) {
      return alone;
    }
    FactsTold both = facts(file, FactsKind::session, beneath(*profile_, alone.facts));
    const std::string taken = tune::changes_in_brief(alone.facts, both.facts);
    if (!taken.empty()) {
      plan_.messages.push_back(fmt::format("{}: your profile tells what {} does not: {}",
                                           shown(profile_file_), shown(plan_.folder / kSessionFile),
                                           taken));
    }
    return both;
  }

  // Faults are collected, so that one run names them all.
  FactsTold facts(const fs::path& path, FactsKind kind, const tune::SetupFacts& before) {
    try {
      if (const std::optional<std::string> text = units::read_hand_written(path, shown(path))) {
        return parse_facts(*text, shown(path), kind, before, phones_);
      }
    } catch (const BadInput& fault) {
      plan_.faults.emplace_back(fault.what());
    }
    FactsTold unchanged;
    unchanged.facts = before;
    unchanged.facts.notes.clear();
    return unchanged;
  }

  std::vector<PlannedSetup> set_ups(const Listing& top, const tune::SetupFacts& first) {
    std::vector<PlannedSetup> setups;
    tune::SetupFacts before = first;
    for (const fs::path& link : top.links_away) {
      plan_.messages.push_back(
          fmt::format("{}: is a link to a folder and is left out; move the folder itself here if "
                      "it is a set-up",
                      shown(link)));
    }
    for (const fs::path& folder : top.folders) {
      Listing inside;
      try {
        inside = list(folder);
      } catch (const BadInput& problem) {
        plan_.faults.emplace_back(problem.what());
        continue;
      }
      name_stray_clips(inside.folders);
      std::error_code error;
      if (inside.clips.empty() && !fs::exists(folder / kSetupFile, error)) {
        continue;  // the archer's own business
      }
      name_misnamed(inside.misnamed, kSetupFile);
      FactsTold told = facts(folder / kSetupFile, FactsKind::setup, before);
      before = told.facts;
      setups.push_back({folder.filename().string(), told.facts, planned(inside.clips, told.facts)});
      overrule(setups.back(), told.clips);
    }
    return setups;
  }

  void name_misnamed(const std::vector<fs::path>& files, std::string_view wanted) {
    for (const fs::path& file : files) {
      plan_.messages.push_back(
          fmt::format("{}: is not read; what holds here is told in a file named {}, in just these "
                      "letters; rename it if that is what it is",
                      shown(file), wanted));
    }
  }

  // Set-ups are one level deep.
  void name_stray_clips(const std::vector<fs::path>& folders) {
    std::size_t strays = 0;
    for (const fs::path& folder : folders) {
      std::error_code error;
      fs::recursive_directory_iterator entry(folder, fs::directory_options::skip_permission_denied,
                                             error);
      for (; !error && entry != fs::recursive_directory_iterator(); entry.increment(error)) {
        std::error_code gone;
        if (!hidden(entry->path()) && is_video_name(entry->path()) &&
            entry->is_regular_file(gone) && ++strays <= kMostNamed) {
          plan_.messages.push_back(fmt::format(
              "{}: belongs to no set-up and is left out; set-ups are folders right inside {}",
              shown(entry->path()), shown(plan_.folder)));
        }
      }
    }
    if (strays > kMostNamed) {
      plan_.messages.push_back(fmt::format("{}: {} more clips there belong to no set-up",
                                           shown(folders.front().parent_path()),
                                           strays - kMostNamed));
    }
  }

  static std::vector<PlannedClip> planned(std::vector<PlannedClip> clips,
                                          const tune::SetupFacts& facts) {
    for (PlannedClip& clip : clips) {
      clip.focal_35mm = facts.camera.focal_35mm;
      clip.capture_fps = facts.camera.capture_fps;
    }
    return clips;
  }

  // What session.toml and a setup.toml say of one clip must agree.
  void lay_over(PlannedClip& clip, const ClipTold& told) {
    const bool hands =
        clip.hand != Hand::unknown && told.hand != Hand::unknown && clip.hand != told.hand;
    const bool cants = clip.cant_deg && told.cant_deg && *clip.cant_deg != *told.cant_deg;
    const auto differ = [](const std::optional<double>& a, const std::optional<double>& b) {
      return a && b && *a != *b;
    };
    const bool focals = clip.told_focal && differ(clip.focal_35mm, told.focal_35mm);
    const bool rates = clip.told_rate && differ(clip.capture_fps, told.capture_fps);
    if (hands || cants || focals || rates) {
      plan_.faults.push_back(fmt::format(
          "{}: contradicts the {} that this clip is given in its set-up's {}; keep one of them",
          told.field,
          hands    ? "hand"
          : cants  ? "cant"
          : focals ? "picture's width"
                   : "frames a second",
          kSetupFile));
    }
    clip.told_focal = clip.told_focal || told.focal_35mm;
    clip.told_rate = clip.told_rate || told.capture_fps;
    if (!told.dropped.empty()) {
      (told.shot > 0 ? clip.dropped_shots[told.shot] : clip.dropped) = told.dropped;
    }
    if (told.hand != Hand::unknown) {
      clip.hand = told.hand;
    }
    clip.cant_deg = told.cant_deg ? told.cant_deg : clip.cant_deg;
    clip.focal_35mm = told.focal_35mm ? told.focal_35mm : clip.focal_35mm;
    clip.capture_fps = told.capture_fps ? told.capture_fps : clip.capture_fps;
  }

  void overrule(PlannedSetup& setup, const std::vector<ClipTold>& all) {
    for (const ClipTold& told : all) {
      const auto clip = std::find_if(
          setup.clips.begin(), setup.clips.end(),
          [&](const PlannedClip& c) { return c.path.filename().string() == told.name; });
      if (clip != setup.clips.end()) {
        lay_over(*clip, told);
      } else {
        say_missing(told);
      }
    }
  }

  // [clip."NAME"] and [clip."SETUP/NAME"] in session.toml.
  void overrule_from_session(const std::vector<ClipTold>& all) {
    for (const ClipTold& told : all) {
      std::vector<std::pair<PlannedSetup*, PlannedClip*>> found;
      for (PlannedSetup& setup : plan_.setups) {
        for (PlannedClip& clip : setup.clips) {
          const std::string name = clip.path.filename().string();
          if (name == told.name || setup.name + "/" + name == told.name) {
            found.emplace_back(&setup, &clip);
          }
        }
      }
      if (found.size() == 1) {
        lay_over(*found.front().second, told);
      } else if (found.empty()) {
        say_missing(told);
      } else {
        plan_.faults.push_back(fmt::format(
            "{}: the set-ups {} and {} both have a clip of this name; write [clip.\"{}/{}\"]",
            told.field, shown(found[0].first->name), shown(found[1].first->name),
            shown(found[0].first->name), shown(told.name)));
      }
    }
  }

  void say_missing(const ClipTold& told) {
    if (++missing_ > kMostNamed) {
      return;  // counted, and said at the end
    }
    std::vector<std::string> names;
    for (const PlannedSetup& setup : plan_.setups) {
      for (const PlannedClip& clip : setup.clips) {
        names.push_back(clip.path.filename().string());
      }
    }
    const std::string nearest = units::nearest_name(told.name, names);
    plan_.messages.push_back(fmt::format(
        "{}: there is no such clip{}", told.field,
        nearest.empty() ? std::string() : fmt::format("; did you mean {}?", shown(nearest))));
  }

  Plan plan_;
  fs::path profile_file_;
  std::optional<tune::SetupFacts> profile_;
  Phones phones_;
  std::size_t missing_ = 0;  // [clip] tables without a clip
};

}  // namespace

bool natural_less(const std::string& a, const std::string& b) {
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  std::size_t i = 0;
  std::size_t j = 0;
  while (i < a.size() && j < b.size()) {
    if (!digit(a[i]) || !digit(b[j])) {
      if (a[i] != b[j]) {
        return static_cast<unsigned char>(a[i]) < static_cast<unsigned char>(b[j]);
      }
      ++i;
      ++j;
      continue;
    }
    const auto run = [&](const std::string& text, std::size_t& at) {
      while (at < text.size() && text[at] == '0') {
        ++at;
      }
      const std::size_t from = at;
      while (at < text.size() && digit(text[at])) {
        ++at;
      }
      return std::string_view(text).substr(from, at - from);
    };
    const std::string_view left = run(a, i);
    const std::string_view right = run(b, j);
    if (left.size() != right.size()) {
      return left.size() < right.size();
    }
    if (left != right) {
      return left < right;
    }
  }
  if (a.size() - i != b.size() - j) {
    return a.size() - i < b.size() - j;
  }
  return a < b;  // "01" and "1": some order, always the same
}

bool is_video_name(const fs::path& path) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return std::find(kVideoEndings.begin(), kVideoEndings.end(), ending) != kVideoEndings.end();
}

fs::path reading_beside(const fs::path& clip) {
  return clip.string() + std::string(kReadingEnding);
}

fs::path on_disk(const PlannedClip& clip) {
  return clip.away ? reading_beside(clip.path) : clip.path;
}

Plan load(const fs::path& folder, const ArcherFiles& archer) {
  return Planner(folder, archer).plan();
}

const PlannedClip* planned_clip(const Plan& plan, const std::string& setup,
                                const std::string& file) {
  for (const PlannedSetup& planned : plan.setups) {
    for (const PlannedClip& clip : planned.clips) {
      if (planned.name == setup && clip.path.filename().string() == file) {
        return &clip;
      }
    }
  }
  return nullptr;
}

}  // namespace nocktrail::session
