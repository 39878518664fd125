// The tables, as an ordered list of steps from an empty file to the present version. A step, once
// released, is never edited: a change is a new step at the end.
#pragma once

#include <SQLiteCpp/Database.h>

#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace nocktrail::logbook {

// In the file's header, so that other programs' databases are told apart: "nktr".
inline constexpr std::int32_t kApplicationId = 0x6e6b7472;

int current_version();

// Steps `from` (0: no tables) to `to`, inside the caller's transaction; sets user_version.
void migrate(SQLite::Database& database, int from, int to);

// Every table of `version`, those referred to before those that refer.
std::vector<std::string> table_names(int version);

struct ColumnInfo {
  std::string name;
  std::string type;  // INTEGER, REAL or TEXT
};
std::vector<ColumnInfo> columns_of(SQLite::Database& database, const std::string& table);

}  // namespace nocktrail::logbook
