// What an archer tells of his phone's lens.
#pragma once

#include <optional>
#include <string>

#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session {

// Focal length as 35 mm equivalent, by focal_35mm or by picture_width of a camera's or phone's
// table. Throws BadInput for both at once, and outside 10 to 200 mm.
std::optional<double> told_focal_35mm(units::TomlTable& table);

// Of the phone that goes by this name. Throws BadInput, naming the nearest, where there is none.
double focal_of(const units::TomlTable& table, const std::string& phone, const Phones& phones);

}  // namespace nocktrail::session
