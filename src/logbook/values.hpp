// Rows as plain data, and the few statements made from them. Column and table names come from the
// program alone, never from a user.
#pragma once

#include <SQLiteCpp/Database.h>
#include <SQLiteCpp/Statement.h>

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace nocktrail::logbook {

using Value = std::variant<std::monostate, std::int64_t, double, std::string>;

struct Field {
  std::string column;
  Value value;
};
using Row = std::vector<Field>;

// NULL for what was not told: an empty optional, an empty text, a number that is not finite.
Value number(double value);
Value number(const std::optional<double>& value);
Value whole(std::int64_t value);
Value text(std::string_view value);  // bytes that are not UTF-8 become U+FFFD

void bind(SQLite::Statement& statement, int index, const Value& value);
Value value_at(const SQLite::Statement& statement, int column);

std::int64_t insert(SQLite::Database& database, const std::string& table, const Row& row);

// The id of the newest row that agrees with every field of `row`, NULL with NULL.
std::optional<std::int64_t> find(SQLite::Database& database, const std::string& table,
                                 const Row& row);

// find, else insert.
std::int64_t find_or_insert(SQLite::Database& database, const std::string& table, const Row& row);

// Writes `row` over the row `id` where they differ; true when they did.
bool update(SQLite::Database& database, const std::string& table, std::int64_t id, const Row& row);

// The row with `key` gets the fields `rest`, or is inserted with both.
std::int64_t upsert(SQLite::Database& database, const std::string& table, const Row& key,
                    const Row& rest);

}  // namespace nocktrail::logbook
