#include "phone_focal.hpp"

#include <fmt/format.h>

#include <vector>

#include "nocktrail/optics/camera.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::session {

std::optional<double> told_focal_35mm(units::TomlTable& table) {
  constexpr double kLeast_mm = 10.0;
  constexpr double kMost_mm = 200.0;
  const std::optional<double> focal = table.number("focal_35mm");
  const std::optional<double> width = table.quantity("picture_width", units::parse_picture_width);
  if (focal && width) {
    table.fail("picture_width", " and focal_35mm tell the same; leave one of them out");
  }
  if (focal && !(*focal >= kLeast_mm && *focal <= kMost_mm)) {
    table.fail("focal_35mm", fmt::format(": {:.4g} mm is not possible; give {:g} to {:g} mm",
                                         *focal, kLeast_mm, kMost_mm));
  }
  return width ? optics::focal_35mm_from_width(*width) : focal;
}

double focal_of(const units::TomlTable& table, const std::string& phone, const Phones& phones) {
  const auto found = phones.find(phone);
  if (found != phones.end()) {
    return found->second;
  }
  std::vector<std::string> names;
  for (const auto& [name, focal] : phones) {
    names.push_back(name);
  }
  const std::string nearest = units::nearest_name(phone, names);
  table.fail(
      "phone",
      fmt::format(": \"{}\" is not in your phones file; {}", phone,
                  nearest.empty() ? "give camera.picture_width, or write it there (docs/session.md)"
                                  : fmt::format("did you mean \"{}\"?", nearest)));
}

}  // namespace nocktrail::session
