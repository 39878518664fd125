#include "nocktrail/session/facts_form.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <iterator>
#include <string_view>
#include <utility>

#include "hand_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/units/toml_edit.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;
using Kind = FactField::Kind;

constexpr std::size_t kMostBytes = 20000;  // of notes; of anything else the file says less

// One hand-written file of a session, in the order in which they are laid over one another.
struct File {
  std::string setup;  // "." for session.toml
  fs::path path;
  std::string shown;
  std::string text;
};

std::string shown(const fs::path& path) {
  return rules::printable(path.string());
}

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

std::vector<std::string> path_of(const std::string& field) {
  const std::size_t dot = field.find('.');
  return dot == std::string::npos
             ? std::vector<std::string>{field}
             : std::vector<std::string>{field.substr(0, dot), field.substr(dot + 1)};
}

const FactField* known(const std::string& field) {
  const auto all = fact_fields();
  const auto found = std::find_if(all.begin(), all.end(),
                                  [&](const FactField& one) { return field == one.field; });
  return found == all.end() ? nullptr : &*found;
}

// As its archer wrote it, whatever kind it is; empty where it is not there.
std::string value_of(units::TomlTable root, const std::string& field) {
  const std::vector<std::string> path = path_of(field);
  std::optional<units::TomlTable> table(std::move(root));
  try {
    if (path.size() == 2) {
      table = table->inner(path[0]);
    }
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

// The first fault of the files as they would be; `from` tells of which file it is.
struct Found {
  std::string setup;
  std::string words;
};
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

// "FILE: line 3: bow.brace_height: 3in is not possible" of the field named, without what stands
// before the fault itself. Empty where it is of another field.
std::string beside(const std::string& fault, const std::string& field, const std::string& file) {
  if (!fault.starts_with(file + ": ")) {
    return {};
  }
  std::string rest = fault.substr(file.size() + 2);
  if (rest.starts_with("line ")) {
    const std::size_t colon = rest.find(": ");
    rest = colon == std::string::npos ? rest : rest.substr(colon + 2);
  }
  if (!rest.starts_with(field)) {
    return {};
  }
  rest = rest.substr(field.size());
  if (!rest.empty() && rest[0] != ':' && rest[0] != ' ') {
    return {};  // a longer name
  }
  rest.erase(0, rest.find_first_not_of(": "));
  return rest;
}

std::string trimmed(const std::string& words) {
  const std::size_t from = words.find_first_not_of(" \t\r\n");
  const std::size_t to = words.find_last_not_of(" \t\r\n");
  return from == std::string::npos ? std::string() : words.substr(from, to - from + 1);
}

// A plain number as people type it, with a point or a comma.
std::optional<double> number_in(std::string words) {
  // Three digits after a comma may as well be thousands: that is not guessed at.
  const std::size_t comma = words.find(',');
  if (comma != std::string::npos && words.size() - comma == 4) {
    return std::nullopt;
  }
  std::replace(words.begin(), words.end(), ',', '.');
  double value = 0.0;
  const auto [end, error] = std::from_chars(words.data(), words.data() + words.size(), value);
  return error == std::errc() && end == words.data() + words.size() && std::isfinite(value)
             ? std::optional<double>(value)
             : std::nullopt;
}

// The same with the unit that people write after it, where a field has but one.
std::optional<double> number_of(const FactField& field, std::string_view value) {
  static constexpr std::pair<std::string_view, std::string_view> kUnits[] = {
      {"bow.min_grains_per_pound", "gpp"},
      {"bow.min_grains_per_pound", "gr/lb"},
      {"camera.focal_35mm", "mm"},
      {"camera.capture_fps", "fps"},
      {"arrow.youngs_modulus_gpa", "GPa"}};
  for (const auto& [name, unit] : kUnits) {
    if (field.field == name && value.ends_with(unit)) {
      value.remove_suffix(unit.size());
      value = value.substr(0, value.find_last_not_of(' ') + 1);
      break;
    }
  }
  return number_in(std::string(value));
}

// What is wrong with a value before the file is asked; empty: nothing.
std::string fault_in(const FactField& field, const std::string& value) {
  if (value.empty()) {
    return {};
  }
  std::string printed = value;
  if (field.kind == Kind::text) {
    std::erase_if(printed, [](char c) { return c == '\n' || c == '\t'; });
  }
  if (rules::printable(printed) != printed) {
    return "holds characters that cannot be shown; type it anew";
  }
  if (value.size() > kMostBytes) {
    return "is too long";
  }
  if (field.kind == Kind::number && !number_of(field, value)) {
    return fmt::format("is a plain number here, such as {}", field.example);
  }
  return {};
}

std::string with_edit(const File& file, const FactField& field, const std::string& value) {
  const std::vector<std::string> path = path_of(field.field);
  if (value.empty()) {
    return units::with_text(file.text, file.shown, path, std::nullopt);
  }
  const std::optional<double> number = field.kind == Kind::number || field.kind == Kind::angle
                                           ? number_of(field, value)
                                           : std::nullopt;
  return number ? units::with_number(file.text, file.shown, path, *number)
                : units::with_text(file.text, file.shown, path, value);
}

constexpr const char* kTotalMass = "arrow.total_mass";

// Writes the edits one after another into the file's text; those that it would not take become
// faults and are left out, so that all slips are named at once.
class Saving {
 public:
  Saving(std::vector<File> files, std::size_t at, const ArcherFiles& archer)
      : files_(std::move(files)), at_(at), original_(files_[at].text), archer_(archer) {}

  FactsSaved run(std::vector<FactEdit> edits) {
    const units::TomlTable now = units::TomlTable::parse(original_, files_[at_].shown);
    for (FactEdit& edit : edits) {
      const FactField* field = known(edit.field);
      if (field == nullptr) {
        throw BadInput("there is no such field");
      }
      edit.value = trimmed(edit.value);
      std::erase(edit.value, '\r');
      const std::string stands = value_of(now, edit.field);
      if (stands != edit.was && stands != edit.value) {
        saved_.changed.emplace_back(edit.field, stands);
      } else if (std::string fault = fault_in(*field, edit.value); !fault.empty()) {
        saved_.faults.push_back({edit.field, std::move(fault)});
      } else if (stands != edit.value) {
        left_.push_back(edit);
      }
    }
    if (!saved_.changed.empty()) {
      saved_.faults.clear();
      return std::move(saved_);
    }
    if (outlives_a_part(edits, value_of(now, kTotalMass))) {
      saved_.faults.push_back(
          {kTotalMass,
           "was weighed before this change: weigh the arrow again, or leave this empty"});
    }
    while (take_all()) {
    }
    if (saved_.faults.empty() && files_[at_].text != original_) {
      replace_hand_text(files_[at_].path, original_, files_[at_].text);
    }
    return std::move(saved_);
  }

 private:
  // Whether a part of the arrow changes beside a weighed total that stays as it is: it would hide
  // an arrow that became too light.
  bool outlives_a_part(const std::vector<FactEdit>& edits, const std::string& total) const {
    constexpr std::string_view kParts[] = {
        "arrow.tip_mass",        "arrow.shaft_length",   "arrow.nock_mass", "arrow.fletching",
        "arrow.mass_per_length", "arrow.fletching_mass", "arrow.shaft_mass"};
    const bool weighed_anew = std::any_of(
        edits.begin(), edits.end(), [](const FactEdit& edit) { return edit.field == kTotalMass; });
    return !total.empty() && !weighed_anew &&
           std::any_of(left_.begin(), left_.end(), [&](const FactEdit& edit) {
             return !edit.was.empty() &&
                    std::find(std::begin(kParts), std::end(kParts), edit.field) != std::end(kParts);
           });
  }

  // Once more with what is left; true when one of the edits was found at fault and put away.
  bool take_all() {
    files_[at_].text = original_;
    for (const FactEdit& edit : left_) {
      files_[at_].text = with_edit(files_[at_], *known(edit.field), edit.value);
    }
    const std::optional<Found> found = fault_of(files_, archer_);
    if (!found) {
      return false;
    }
    for (std::size_t k = 0; k < left_.size(); ++k) {
      std::string words = beside(found->words, left_[k].field, files_[at_].shown);
      if (!words.empty()) {
        saved_.faults.push_back({left_[k].field, std::move(words)});
        left_.erase(left_.begin() + static_cast<std::ptrdiff_t>(k));
        return true;
      }
    }
    saved_.faults.push_back({{}, found->words});
    return false;
  }

  std::vector<File> files_;
  std::size_t at_;
  std::string original_;
  const ArcherFiles& archer_;
  std::vector<FactEdit> left_;
  FactsSaved saved_;
};

std::optional<std::size_t> place_in(const std::vector<File>& files, const std::string& setup) {
  const auto found =
      std::find_if(files.begin(), files.end(), [&](const File& one) { return one.setup == setup; });
  return found == files.end()
             ? std::nullopt
             : std::optional<std::size_t>(static_cast<std::size_t>(found - files.begin()));
}

}  // namespace

std::optional<FactsForm> facts_form(const fs::path& folder, const ArcherFiles& archer,
                                    const std::string& setup) {
  const Plan plan = load(folder, archer);
  const std::vector<File> files = files_of(plan);
  const std::optional<std::size_t> at = place_in(files, setup);
  if (!at) {
    return std::nullopt;
  }
  FactsForm form;
  form.setup = setup;
  form.file = setup == "." ? std::string(kSessionFile) : fmt::format("{}/{}", setup, kSetupFile);
  std::vector<std::pair<std::string, units::TomlTable>> tables;  // the one asked for last
  if (!archer.profile.empty()) {
    tables.emplace_back("your profile",
                        units::TomlTable::parse(hand_text(archer.profile), shown(archer.profile)));
  }
  for (std::size_t k = 0; k <= *at; ++k) {
    tables.emplace_back(files[k].setup == "." ? "the session" : files[k].setup,
                        units::TomlTable::parse(files[k].text, files[k].shown));
  }
  for (const File& file : files) {
    form.setups.push_back(file.setup);
  }
  for (const FactField& field : fact_fields()) {
    FactStands stands;
    stands.value = value_of(tables.back().second, field.field);
    for (std::size_t k = tables.size() - 1; k-- > 0 && stands.before.empty();) {
      // Of one set-up alone.
      if (std::string_view(field.field) == "notes" ||
          std::string_view(field.field) == "accept_nock_height") {
        break;
      }
      // Nothing of a bow holds beyond the file that named another one.
      if (std::string_view(field.field).starts_with("bow.") &&
          !value_of(tables[k + 1].second, "bow.name").empty() &&
          std::string_view(field.field) != "bow.name") {
        break;
      }
      stands.before = value_of(tables[k].second, field.field);
      stands.where = stands.before.empty() ? std::string() : tables[k].first;
    }
    form.stands.push_back(std::move(stands));
  }
  if (const std::optional<Found> found = fault_of(files, archer); found && found->setup == setup) {
    form.fault = found->words;
  }
  return form;
}

FactsSaved save_facts(const fs::path& folder, const ArcherFiles& archer, const std::string& setup,
                      const std::vector<FactEdit>& edits) {
  const Plan plan = load(folder, archer);
  std::vector<File> files = files_of(plan);
  const std::optional<std::size_t> at = place_in(files, setup);
  if (!at) {
    FactsSaved saved;
    saved.no_such_setup = true;
    return saved;
  }
  return Saving(std::move(files), *at, archer).run(edits);
}

}  // namespace nocktrail::session
