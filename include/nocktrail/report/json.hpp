// Readings as JSON, schema nocktrail.reading/2 of docs/measurement.md.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::report {

// One object for one reading, an array for none or several; indented, ends in a newline, UTF-8
// (bytes of a path that are not UTF-8 become U+FFFD). Every key of the schema is present, in the
// schema's order. What is unknown is null: an empty optional, an empty string, a number that is
// not finite (a value without a finite u95 is null as a whole), and, for a clip that could not be
// opened, the facts that were never read (counts, sizes and rates that are still 0).
std::string json_text(std::span<const Reading> readings);

// A fact that a clip was read with: its name with its unit ("hand", "cant_deg", "arrow_length_m",
// ...), its value ("left", "right", else a number), and who told it.
enum class FactFrom { told, folder, profile };
struct FactUsed {
  std::string name;
  std::variant<double, std::string> value;
  FactFrom from = FactFrom::told;
};

// The same, each reading with what it was read with under "read_with": name to value and source.
// A list for each reading.
std::string json_text(std::span<const Reading> readings,
                      std::span<const std::vector<FactUsed>> read_with);

// The other direction: what json_text wrote, now or by schema /1, one object or an array. What the
// schema does not carry (fitted frames, the next step's words) comes back empty, as does what /1
// did not have. Throws BadInput, naming `source`, for text that is not JSON or not of this schema;
// keys it does not know are ignored.
std::vector<Reading> readings_from_json(std::string_view text, std::string_view source);

}  // namespace nocktrail::report
