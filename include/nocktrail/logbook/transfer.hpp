// The whole logbook out into plain files and in again, without loss: every row of every table,
// NULL told from empty text, numbers to the last bit.
//
// JSON: one object, {"schema": "nocktrail.logbook/5", "tables": {"bows": [{"id": 1, ...}, ...]}}.
// CSV: a folder with one file for each table and logbook.csv, which holds the schema. RFC 4180
// (comma, CRLF, quotes doubled), UTF-8, a line of column names first. An empty field is NULL, a
// quoted empty field is empty text. The number in the schema is the version of the tables; an
// export of an older version is brought up to date on its way in.
//
// Everything here throws BadInput as the Logbook does.
#pragma once

#include <filesystem>
#include <string>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

// With the version behind it, the schema of an export.
inline constexpr const char* kExportSchema = "nocktrail.logbook/";

// The export as one text, ending in a newline.
std::string json_text(const Logbook& logbook);
void export_json(const Logbook& logbook, const std::filesystem::path& file);

// `folder` is made; it must not exist yet, or be empty. It is there whole or not at all.
void export_csv(const Logbook& logbook, const std::filesystem::path& folder);

// Into an empty logbook: rows are known by their numbers, and two logbooks use the same ones
// (merge.hpp joins them). Throws BadInput, naming file and line, when the logbook holds something
// or what is to be read is not such an export; nothing is changed then. Returns the number of rows.
long import_json(Logbook& logbook, const std::filesystem::path& file);
long import_csv(Logbook& logbook, const std::filesystem::path& folder);

}  // namespace nocktrail::logbook
