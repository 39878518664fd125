#include <cstdlib>
#include <system_error>

#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session {

namespace fs = std::filesystem;

Phones read_phones(const fs::path& path) {
  Phones phones;
  std::error_code error;
  if (path.empty() || !fs::exists(path, error)) {  // nor where we may not look
    return phones;
  }
  const std::optional<std::string> text = units::read_hand_written(path, path.string());
  if (!text) {
    return phones;
  }
  units::TomlTable root = units::TomlTable::parse(*text, path.string());
  for (const std::string& name : root.keys()) {
    std::optional<units::TomlTable> phone = root.inner(name);
    const std::optional<double> focal = phone->number("focal_35mm");
    phone->refuse_unknown();
    if (!focal || !(*focal >= 10.0 && *focal <= 200.0)) {
      phone->fail("focal_35mm", focal ? " is not possible; give 10 to 200 (mm)"
                                      : " is missing; add a line such as focal_35mm = 26");
    }
    phones[name] = *focal;
  }
  return phones;
}

fs::path default_phones_file() {
  const char* config = std::getenv("XDG_CONFIG_HOME");
  if (config != nullptr && fs::path(config).is_absolute()) {
    return fs::path(config) / "nocktrail/phones.toml";
  }
  const char* home = std::getenv("HOME");
  if (home != nullptr && fs::path(home).is_absolute()) {
    return fs::path(home) / ".config/nocktrail/phones.toml";
  }
  return {};
}

}  // namespace nocktrail::session
