#include "facts_places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "hand_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/session.hpp"

namespace nocktrail::session::form {

namespace fs = std::filesystem;

namespace {

std::vector<File> files_of(const Plan& plan) {
  std::vector<File> files;
  const auto add = [&](const std::string& setup, const fs::path& path) {
    files.push_back({setup, path, shown(path), hand_text(path)});
  };
  add(".", plan.folder / kSessionFile);
  for (const PlannedSetup& setup : plan.setups) {
    if (setup.name != ".") {
      add(setup.name, plan.folder / setup.name / kSetupFile);
    }
  }
  return files;
}

std::optional<std::size_t> place_in(const std::vector<File>& files, const std::string& setup) {
  const auto found =
      std::find_if(files.begin(), files.end(), [&](const File& one) { return one.setup == setup; });
  return found == files.end()
             ? std::nullopt
             : std::optional<std::size_t>(static_cast<std::size_t>(found - files.begin()));
}

std::vector<Place> places_of_clip(const std::string& setup, std::size_t own,
                                  const std::string& clip) {
  std::vector<Place> places;
  for (const ClipTable& table : tables_of_clip(setup, clip)) {
    places.push_back({table.in_session ? 0 : own, table.name});
  }
  return places;
}

bool tells_anything(const File& file, const Place& place) {
  const auto fields = place.fields();
  return std::any_of(fields.begin(), fields.end(), [&](const FactField& field) {
    return tells(file, path_of(field.field, place.clip));
  });
}

}  // namespace

std::string shown(const fs::path& path) {
  return rules::printable(path.string());
}

std::string name_of(const File& file) {
  return file.setup == "." ? std::string(kSessionFile)
                           : fmt::format("{}/{}", file.setup, kSetupFile);
}

std::vector<std::string> path_of(const std::string& field, const std::string& clip) {
  if (!clip.empty()) {
    return {"clip", clip, field};
  }
  const std::size_t dot = field.find('.');
  return dot == std::string::npos
             ? std::vector<std::string>{field}
             : std::vector<std::string>{field.substr(0, dot), field.substr(dot + 1)};
}

std::optional<units::TomlTable> table_of(units::TomlTable root,
                                         const std::vector<std::string>& path) {
  std::optional<units::TomlTable> table(std::move(root));
  for (std::size_t k = 0; k + 1 < path.size() && table; ++k) {
    table = table->inner(path[k]);
  }
  return table;
}

std::string value_of(units::TomlTable root, const std::vector<std::string>& path) {
  std::optional<units::TomlTable> table;
  try {
    table = table_of(std::move(root), path);
    if (!table || !table->has(path.back())) {
      return {};
    }
    return table->words(path.back(), kMostBytes).value_or("");
  } catch (const BadInput&) {
    // No text: a number, or nothing that a form could show.
  }
  try {
    return table ? fmt::format("{}", table->number(path.back()).value_or(0.0)) : std::string();
  } catch (const BadInput&) {
    return {};
  }
}

std::optional<Found> fault_of(const std::vector<File>& files, const ArcherFiles& archer) {
  const File* at = nullptr;
  try {
    const Phones phones = read_phones(archer.phones);
    const std::optional<tune::SetupFacts> profile = read_profile(archer);
    tune::SetupFacts before;
    for (const File& file : files) {
      at = &file;
      if (file.setup != ".") {
        before = parse_facts(file.text, file.shown, FactsKind::setup, before, phones).facts;
        continue;
      }
      const FactsTold alone = parse_facts(file.text, file.shown, FactsKind::session, {}, phones);
      before = alone.facts;
      if (profile && alone.made_up.empty()) {
        before = parse_facts(file.text, file.shown, FactsKind::session,
                             beneath(*profile, alone.facts), phones)
                     .facts;
      }
    }
  } catch (const BadInput& problem) {
    return Found{at == nullptr ? std::string() : at->setup, problem.what()};
  }
  return std::nullopt;
}

std::vector<ClipTable> tables_of_clip(const std::string& setup, const std::string& told) {
  if (setup == ".") {
    return {{true, told}};
  }
  return {{false, told}, {true, setup + "/" + told}, {true, told}};
}

bool tells(const File& file, const std::vector<std::string>& path) {
  return !value_of(units::TomlTable::parse(file.text, file.shown), path).empty();
}

std::optional<Wanted> wanted(const fs::path& folder, const ArcherFiles& archer,
                             const std::string& setup, const std::string& clip) {
  const Plan plan = load(folder, archer);
  Wanted all;
  all.files = files_of(plan);
  const std::optional<std::size_t> at = place_in(all.files, setup);
  if (!at || (!clip.empty() && planned_clip(plan, setup, clip) == nullptr)) {
    return std::nullopt;
  }
  all.own = *at;
  all.place.file = *at;
  if (!clip.empty()) {
    all.places = places_of_clip(setup, *at, clip);
    const auto told = std::find_if(all.places.begin(), all.places.end(), [&](const Place& one) {
      return tells_anything(all.files[one.file], one);
    });
    all.place = told == all.places.end() ? all.places.front() : *told;
  }
  return all;
}

}  // namespace nocktrail::session::form
