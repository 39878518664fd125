#include "values.hpp"

#include <SQLiteCpp/Column.h>
#include <fmt/format.h>

#include <cmath>
#include <iterator>
#include <nlohmann/json.hpp>

namespace nocktrail::logbook {
namespace {

std::string joined(const Row& row, std::string_view form, std::string_view separator) {
  std::string out;
  for (const Field& field : row) {
    if (!out.empty()) {
      out += separator;
    }
    fmt::format_to(std::back_inserter(out), fmt::runtime(form), field.column);
  }
  return out;
}

int bind_all(SQLite::Statement& statement, const Row& row, int first = 1) {
  for (const Field& field : row) {
    bind(statement, first++, field.value);
  }
  return first;
}

}  // namespace

Value number(double value) {
  return std::isfinite(value) ? Value(value) : Value();
}

Value number(const std::optional<double>& value) {
  return value ? number(*value) : Value();
}

Value whole(std::int64_t value) {
  return value;
}

Value text(std::string_view value) {
  if (value.empty()) {
    return {};
  }
  // The JSON library knows UTF-8 and mends it; the detour costs nothing that shows.
  using Json = nlohmann::json;
  const std::string mended =
      Json(std::string(value)).dump(-1, ' ', false, Json::error_handler_t::replace);
  return Json::parse(mended).get<std::string>();
}

void bind(SQLite::Statement& statement, int index, const Value& value) {
  if (const auto* whole_number = std::get_if<std::int64_t>(&value)) {
    statement.bind(index, *whole_number);
  } else if (const auto* real = std::get_if<double>(&value)) {
    statement.bind(index, *real);
  } else if (const auto* words = std::get_if<std::string>(&value)) {
    statement.bind(index, *words);
  } else {
    statement.bind(index);
  }
}

Value value_at(const SQLite::Statement& statement, int column) {
  const SQLite::Column found = statement.getColumn(column);
  if (found.isInteger()) {
    return std::int64_t{found.getInt64()};
  }
  if (found.isFloat()) {
    return found.getDouble();
  }
  if (found.isNull()) {
    return {};
  }
  return found.getString();
}

std::int64_t insert(SQLite::Database& database, const std::string& table, const Row& row) {
  std::string marks;
  for (std::size_t i = 0; i < row.size(); ++i) {
    marks += i == 0 ? "?" : ", ?";
  }
  SQLite::Statement statement(database, fmt::format("INSERT INTO {} ({}) VALUES ({})", table,
                                                    joined(row, "{}", ", "), marks));
  bind_all(statement, row);
  statement.exec();
  return database.getLastInsertRowid();
}

std::optional<std::int64_t> find(SQLite::Database& database, const std::string& table,
                                 const Row& row) {
  SQLite::Statement statement(
      database, fmt::format("SELECT id FROM {} WHERE {} ORDER BY id DESC LIMIT 1", table,
                            joined(row, "{} IS ?", " AND ")));
  bind_all(statement, row);
  if (!statement.executeStep()) {
    return std::nullopt;
  }
  return std::int64_t{statement.getColumn(0).getInt64()};
}

std::int64_t find_or_insert(SQLite::Database& database, const std::string& table, const Row& row) {
  const std::optional<std::int64_t> found = find(database, table, row);
  return found ? *found : insert(database, table, row);
}

bool update(SQLite::Database& database, const std::string& table, std::int64_t id, const Row& row) {
  SQLite::Statement statement(
      database, fmt::format("UPDATE {} SET {} WHERE id = ? AND NOT ({})", table,
                            joined(row, "{} = ?", ", "), joined(row, "{} IS ?", " AND ")));
  int next = bind_all(statement, row);
  statement.bind(next++, id);
  bind_all(statement, row, next);
  return statement.exec() > 0;
}

std::int64_t upsert(SQLite::Database& database, const std::string& table, const Row& key,
                    const Row& rest) {
  if (const std::optional<std::int64_t> found = find(database, table, key)) {
    if (!rest.empty()) {
      update(database, table, *found, rest);
    }
    return *found;
  }
  Row row = key;
  row.insert(row.end(), rest.begin(), rest.end());
  return insert(database, table, row);
}

}  // namespace nocktrail::logbook
