// Comma-separated values as RFC 4180 has them.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::logbook {

// NULL, as an empty optional, is a field of nothing; an empty text is a field of two quotes.
using CsvField = std::optional<std::string>;

// One record with its CRLF. Fields with a comma, a quote or a line break are quoted.
std::string csv_line(const std::vector<CsvField>& fields);

struct CsvRecord {
  int line = 1;  // on which it begins
  std::vector<CsvField> fields;
};

// Takes LF for CRLF, a last line without its break, and a byte order mark before the first. Throws
// BadInput, "SOURCE, line N: ...", for a quote out of place, one that is never closed, or a
// carriage return alone.
std::vector<CsvRecord> parse_csv(std::string_view text, std::string_view source);

}  // namespace nocktrail::logbook
