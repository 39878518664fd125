#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <iterator>
#include <string_view>
#include <utility>

#include "facts_places.hpp"
#include "hand_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/toml_edit.hpp"

namespace nocktrail::session {
namespace {

using form::fault_of;
using form::File;
using form::Found;
using form::path_of;
using form::Place;
using form::table_of;
using form::value_of;
using Kind = FactField::Kind;

const FactField* known(std::span<const FactField> all, const std::string& field) {
  const auto found = std::find_if(all.begin(), all.end(),
                                  [&](const FactField& one) { return field == one.field; });
  return found == all.end() ? nullptr : &*found;
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
  if (value.size() > form::kMostBytes) {
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

}  // namespace

FactsSaved save_facts(const std::filesystem::path& folder, const ArcherFiles& archer,
                      const std::string& setup, const std::vector<FactEdit>& edits,
                      const std::string& clip) {
  std::optional<form::Wanted> of = form::wanted(folder, archer, setup, clip);
  FactsSaved saved;
  if (!of) {
    saved.no_such_setup = true;
    return saved;
  }
  for (const Place& other : of->places) {
    const bool same = other.file == of->place.file && other.clip == of->place.clip;
    for (const FactEdit& edit : edits) {
      // The picture's width is told by either of two fields.
      const std::string twin = edit.field == "picture_width" ? "focal_35mm"
                               : edit.field == "focal_35mm"  ? "picture_width"
                                                             : edit.field;
      const auto told = [&](const std::string& field) {
        return form::tells(of->files[other.file], path_of(field, other.clip));
      };
      if (!same && !edit.value.empty() && (told(edit.field) || told(twin))) {
        saved.faults.push_back(
            {edit.field, fmt::format("is told of this clip in {}, too: change it there",
                                     form::name_of(of->files[other.file]))});
      }
    }
  }
  if (!saved.faults.empty()) {
    return saved;
  }
  return Saving(std::move(of->files), of->place, archer).run(edits);
}

}  // namespace nocktrail::session