// Marks made by hand as JSON, schema nocktrail.marks/1 of docs/measurement.md.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "nocktrail/marks.hpp"

namespace nocktrail::report {

// Every key of the schema, indented, ends in a newline.
std::string marks_text(const Marks& marks);

// The other direction, strictly: a key that is not one of the schema's, a frame marked twice or a
// place that is no pair of numbers is a slip that would cost a reading. Frames may come in any
// order. Throws BadInput, one line that begins with `source`.
Marks marks_from_json(std::string_view text, std::string_view source);

// The file of that name. Throws BadInput, where there is none too.
Marks read_marks(const std::filesystem::path& path);

}  // namespace nocktrail::report
