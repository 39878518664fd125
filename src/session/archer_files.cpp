// What an archer writes once for all sessions: profile.toml and phones.toml.
#include <cstdlib>
#include <system_error>

#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "phone_focal.hpp"

namespace nocktrail::session {

namespace fs = std::filesystem;

namespace {

// Empty without such a file, and where we may not look.
std::optional<std::string> content_of(const fs::path& path) {
  std::error_code error;
  if (path.empty() || !fs::exists(path, error)) {
    return std::nullopt;
  }
  return units::read_hand_written(path, path.string());
}

bool other_name(const std::string& a, const std::string& b) {
  return !a.empty() && !b.empty() && a != b;
}

}  // namespace

Phones read_phones(const fs::path& path) {
  Phones phones;
  const std::optional<std::string> text = content_of(path);
  if (!text) {
    return phones;
  }
  units::TomlTable root = units::TomlTable::parse(*text, path.string());
  for (const std::string& name : root.keys()) {
    std::optional<units::TomlTable> phone = root.inner(name);
    const std::optional<double> focal = told_focal_35mm(*phone);
    phone->refuse_unknown();
    if (!focal) {
      phone->fail("picture_width",
                  " is missing; add a line such as picture_width = \"2.9m at 2m\"");
    }
    phones[name] = *focal;
  }
  return phones;
}

std::optional<tune::SetupFacts> read_profile(const ArcherFiles& files) {
  const std::optional<std::string> text = content_of(files.profile);
  if (!text) {
    return std::nullopt;
  }
  return parse_facts(*text, files.profile.string(), FactsKind::profile, {},
                     read_phones(files.phones))
      .facts;
}

tune::SetupFacts beneath(const tune::SetupFacts& profile, const tune::SetupFacts& told) {
  tune::SetupFacts facts = profile;
  if (other_name(profile.bow.name, told.bow.name)) {
    facts.bow = {};
  }
  const tune::ArrowFacts& arrow = told.arrow;
  if (other_name(profile.arrow.name, arrow.name) || arrow.spine || arrow.shaft_length_m ||
      arrow.arrow_length_m || arrow.diameter_m || arrow.mass_per_length_kg_per_m ||
      arrow.total_mass_kg) {
    facts.arrow = {};
  }
  return facts;
}

ArcherFiles default_archer_files() {
  fs::path folder;
  const char* config = std::getenv("XDG_CONFIG_HOME");
  const char* home = std::getenv("HOME");
  if (config != nullptr && fs::path(config).is_absolute()) {
    folder = fs::path(config) / "nocktrail";
  } else if (home != nullptr && fs::path(home).is_absolute()) {
    folder = fs::path(home) / ".config/nocktrail";
  } else {
    return {};
  }
  return {folder / "profile.toml", folder / "phones.toml"};
}

}  // namespace nocktrail::session
