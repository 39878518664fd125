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

// As its archer knows it, from the session's folder on.
std::string name_of(const File& file) {
  return file.setup == "." ? std::string(kSessionFile)
                           : fmt::format("{}/{}", file.setup, kSetupFile);
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

// `clip`: the [clip] table that the form is of; empty: of the file itself.
std::vector<std::string> path_of(const std::string& field, const std::string& clip = {}) {
  if (!clip.empty()) {
    return {"clip", clip, field};
  }
  const std::size_t dot = field.find('.');
  return dot == std::string::npos
             ? std::vector<std::string>{field}
             : std::vector<std::string>{field.substr(0, dot), field.substr(dot + 1)};
}

const FactField* known(std::span<const FactField> all, const std::string& field) {
  const auto found = std::find_if(all.begin(), all.end(),
                                  [&](const FactField& one) { return field == one.field; });
  return found == all.end() ? nullptr : &*found;
}

// The table that holds the last key of a path; empty where it is not there. Throws BadInput where
// something else is in its place.
std::optional<units::TomlTable> table_of(units::TomlTable root,
                                         const std::vector<std::string>& path) {
  std::optional<units::TomlTable> table(std::move(root));
  for (std::size_t k = 0; k + 1 < path.size() && table; ++k) {
    table = table->inner(path[k]);
  }
  return table;
}

// As its archer wrote it, whatever kind it is; empty where it is not there.
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

// "FILE: line 3: bow.brace_height: 3in is not possible" from the field on; empty where it is of
// another file.
std::string from_the_field(const std::string& fault, const std::string& file) {
  if (!fault.starts_with(file + ": ")) {
    return {};
  }
  std::string rest = fault.substr(file.size() + 2);
  if (rest.starts_with("line ")) {
    const std::size_t colon = rest.find(": ");
    rest = colon == std::string::npos ? rest : rest.substr(colon + 2);
  }
  return rest;
}

// What a fault says of the field at `path`, without what stands before the fault itself. Empty
// where it is of another field.
std::string beside(const std::string& fault, const std::vector<std::string>& path,
                   const File& file) {
  const std::optional<units::TomlTable> table =
      table_of(units::TomlTable::parse(file.text, file.shown), path);
  if (!table) {
    return {};
  }
  const std::string field = from_the_field(table->field(path.back()), file.shown);
  std::string rest = from_the_field(fault, file.shown);
  if (field.empty() || !rest.starts_with(field)) {
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
      {"focal_35mm", "mm"},
      {"capture_fps", "fps"},
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

std::string with_edit(const File& file, const std::vector<std::string>& path,
                      const FactField& field, const std::string& value) {
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

// Which file a form is of, and of which [clip] table in it.
struct Place {
  std::size_t file = 0;
  std::string clip;  // empty: of the file itself

  std::span<const FactField> fields() const { return clip.empty() ? fact_fields() : clip_fields(); }
};

// A table that speaks of the clip, or would: as leave_out() looks for them.
std::vector<Place> places_of_clip(const std::vector<File>& files, std::size_t own,
                                  const std::string& clip) {
  std::vector<Place> places = {{own, clip}};
  if (files[own].setup != ".") {
    places.push_back({0, files[own].setup + "/" + clip});
    places.push_back({0, clip});
  }
  return places;
}

bool tells(const File& file, const std::vector<std::string>& path) {
  return !value_of(units::TomlTable::parse(file.text, file.shown), path).empty();
}

bool tells_anything(const File& file, const Place& place) {
  const auto fields = place.fields();
  return std::any_of(fields.begin(), fields.end(), [&](const FactField& field) {
    return tells(file, path_of(field.field, place.clip));
  });
}

// Writes the edits one after another into the file's text; those that it would not take become
// faults and are left out, so that all slips are named at once.
class Saving {
 public:
  Saving(std::vector<File> files, Place place, const ArcherFiles& archer)
      : files_(std::move(files)),
        place_(std::move(place)),
        at_(place_.file),
        original_(files_[at_].text),
        archer_(archer) {}

  FactsSaved run(std::vector<FactEdit> edits) {
    const units::TomlTable now = units::TomlTable::parse(original_, files_[at_].shown);
    for (FactEdit& edit : edits) {
      const FactField* field = known(place_.fields(), edit.field);
      if (field == nullptr) {
        throw BadInput("there is no such field");
      }
      edit.value = trimmed(edit.value);
      std::erase(edit.value, '\r');
      const std::string stands = value_of(now, path_of(edit.field, place_.clip));
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
    if (outlives_a_part(edits, value_of(now, path_of(kTotalMass)))) {
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
      files_[at_].text = with_edit(files_[at_], path_of(edit.field, place_.clip),
                                   *known(place_.fields(), edit.field), edit.value);
    }
    const std::optional<Found> found = fault_of(files_, archer_);
    if (!found) {
      return false;
    }
    for (std::size_t k = 0; k < left_.size(); ++k) {
      std::string words = beside(found->words, path_of(left_[k].field, place_.clip), files_[at_]);
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
  Place place_;
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

// What a file says of a field, and what of it holds for those after it.
struct Layer {
  std::string where;  // "the session"
  units::TomlTable table;
};

// The profile and the files up to the one at `last`, in the order in which they are laid over one
// another.
std::vector<Layer> layers_to(const std::vector<File>& files, std::size_t last,
                             const ArcherFiles& archer) {
  std::vector<Layer> layers;
  if (!archer.profile.empty()) {
    layers.push_back({"your profile",
                      units::TomlTable::parse(hand_text(archer.profile), shown(archer.profile))});
  }
  for (std::size_t k = 0; k <= last; ++k) {
    layers.push_back({files[k].setup == "." ? "the session" : files[k].setup,
                      units::TomlTable::parse(files[k].text, files[k].shown)});
  }
  return layers;
}

// What holds of `field` where nothing after the first `count` layers says anything of it.
void add_before(const std::vector<Layer>& layers, std::size_t count, const std::string& field,
                FactStands& stands) {
  for (std::size_t k = count; k-- > 0 && stands.before.empty();) {
    // Nothing of a bow holds beyond the file that named another one.
    if (field.starts_with("bow.") && field != "bow.name" && k + 1 < layers.size() &&
        !value_of(layers[k + 1].table, path_of("bow.name")).empty()) {
      break;
    }
    stands.before = value_of(layers[k].table, path_of(field));
    stands.where = stands.before.empty() ? std::string() : layers[k].where;
  }
}

FactStands setup_stands(const std::vector<Layer>& layers, const std::string& field) {
  FactStands stands;
  stands.value = value_of(layers.back().table, path_of(field));
  // These are of one set-up alone.
  if (field != "notes" && field != "accept_nock_height") {
    add_before(layers, layers.size() - 1, field, stands);
  }
  return stands;
}

FactStands clip_stands(const std::vector<File>& files, const std::vector<Place>& places,
                       const Place& place, const std::vector<Layer>& layers,
                       const std::string& field) {
  const auto told_in = [&](const Place& one) {
    return value_of(units::TomlTable::parse(files[one.file].text, files[one.file].shown),
                    path_of(field, one.clip));
  };
  FactStands stands;
  stands.value = told_in(place);
  for (const Place& other : places) {
    if (stands.before.empty() && (other.file != place.file || other.clip != place.clip)) {
      stands.before = told_in(other);
      stands.where = stands.before.empty() ? std::string() : layers[other.file].where;
    }
  }
  if (stands.before.empty()) {
    const bool camera = field == "focal_35mm" || field == "capture_fps";
    add_before(layers, layers.size(), camera ? "camera." + field : field, stands);
    FactStands phone;
    add_before(layers, layers.size(), "camera.phone", phone);
    if (field == "focal_35mm" && stands.before.empty() && !phone.before.empty()) {
      stands = {stands.value, "as of the phone " + phone.before, phone.where};
    }
  }
  return stands;
}

struct Wanted {
  std::vector<File> files;
  std::size_t own = 0;        // the set-up's file
  std::vector<Place> places;  // of a clip
  Place place;
};

// Empty when there is no such set-up, or no such clip in it.
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
    all.places = places_of_clip(all.files, *at, clip);
    const auto told = std::find_if(all.places.begin(), all.places.end(), [&](const Place& one) {
      return tells_anything(all.files[one.file], one);
    });
    all.place = told == all.places.end() ? all.places.front() : *told;
  }
  return all;
}

}  // namespace

std::optional<FactsForm> facts_form(const fs::path& folder, const ArcherFiles& archer,
                                    const std::string& setup, const std::string& clip) {
  const std::optional<Wanted> of = wanted(folder, archer, setup, clip);
  if (!of) {
    return std::nullopt;
  }
  FactsForm form;
  form.setup = setup;
  form.clip = clip;
  const File& own = of->files[of->place.file];
  form.file = name_of(own);
  for (const File& file : of->files) {
    form.setups.push_back(file.setup);
  }
  const std::vector<Layer> layers = layers_to(of->files, of->own, archer);
  for (const FactField& field : of->place.fields()) {
    form.stands.push_back(clip.empty()
                              ? setup_stands(layers, field.field)
                              : clip_stands(of->files, of->places, of->place, layers, field.field));
  }
  if (const std::optional<Found> found = fault_of(of->files, archer);
      found && found->setup == own.setup) {
    form.fault = found->words;
    if (form.fault.starts_with(own.shown)) {
      form.fault.replace(0, own.shown.size(), form.file);
    }
  }
  return form;
}

FactsSaved save_facts(const fs::path& folder, const ArcherFiles& archer, const std::string& setup,
                      const std::vector<FactEdit>& edits, const std::string& clip) {
  std::optional<Wanted> of = wanted(folder, archer, setup, clip);
  FactsSaved saved;
  if (!of) {
    saved.no_such_setup = true;
    return saved;
  }
  for (const Place& other : of->places) {
    const bool same = other.file == of->place.file && other.clip == of->place.clip;
    for (const FactEdit& edit : edits) {
      if (!same && !edit.value.empty() &&
          tells(of->files[other.file], path_of(edit.field, other.clip))) {
        saved.faults.push_back(
            {edit.field, fmt::format("is told of this clip in {}, too: change it there",
                                     name_of(of->files[other.file]))});
      }
    }
  }
  if (!saved.faults.empty()) {
    return saved;
  }
  return Saving(std::move(of->files), of->place, archer).run(edits);
}

}  // namespace nocktrail::session
