#include "tables.hpp"

#include <SQLiteCpp/Column.h>
#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>
#include <sqlite3.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/logbook/transfer.hpp"
#include "ranges.hpp"
#include "schema.hpp"
#include "store.hpp"

namespace nocktrail::logbook {
namespace {

const char* const kUnchanged = "the logbook was left as it is";

[[noreturn]] void misfit(const std::string& where, const std::string& why) {
  throw BadInput(
      fmt::format("{}: {}; {}; export again, or mend that place", where, why, kUnchanged));
}

template <typename Number>
std::optional<Number> parsed(const std::string& words) {
  Number value{};
  const char* const end = words.data() + words.size();
  const auto [stop, error] = std::from_chars(words.data(), end, value);
  return error == std::errc() && stop == end ? std::optional<Number>(value) : std::nullopt;
}

// `value` as the column's type has it; empty when it is of another kind.
std::optional<Value> as_type(const Value& value, const std::string& type, bool all_text) {
  if (std::holds_alternative<std::monostate>(value)) {
    return value;
  }
  const auto* words = std::get_if<std::string>(&value);
  if (type == "TEXT") {
    return words != nullptr && is_utf8(*words) ? std::optional<Value>(value) : std::nullopt;
  }
  if (words != nullptr && !all_text) {
    return std::nullopt;
  }
  if (type == "INTEGER") {
    if (words == nullptr) {
      return std::holds_alternative<std::int64_t>(value) ? std::optional<Value>(value)
                                                         : std::nullopt;
    }
    const std::optional<std::int64_t> number = parsed<std::int64_t>(*words);
    return number ? std::optional<Value>(*number) : std::nullopt;
  }
  std::optional<double> real;
  if (words != nullptr) {
    real = parsed<double>(*words);
  } else if (const auto* whole_number = std::get_if<std::int64_t>(&value)) {
    real = static_cast<double>(*whole_number);
  } else {
    real = std::get<double>(value);
  }
  return real && std::isfinite(*real) ? std::optional<Value>(*real) : std::nullopt;
}

// Every table and column of its version, and no other; values of the columns' types.
void check_and_convert(Tables& tables, const std::string& source) {
  SQLite::Database scratch(":memory:", SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
  migrate(scratch, 0, tables.version);
  const std::vector<std::string> names = table_names(tables.version);
  std::vector<Table> in_order;
  for (const std::string& name : names) {
    const auto found = std::find_if(tables.tables.begin(), tables.tables.end(),
                                    [&](const Table& table) { return table.name == name; });
    if (found == tables.tables.end()) {
      misfit(source, fmt::format("there is no table \"{}\" in it", name));
    }
    if (found->rows.empty() && found->columns.empty()) {  // JSON tells columns with its rows
      tables.tables.erase(found);
      continue;
    }
    const std::vector<ColumnInfo> wanted = columns_of(scratch, name);
    std::vector<std::string> types;
    for (const std::string& column : found->columns) {
      const auto info = std::find_if(wanted.begin(), wanted.end(),
                                     [&](const ColumnInfo& c) { return c.name == column; });
      if (info == wanted.end()) {
        misfit(source, fmt::format("table \"{}\" has no column \"{}\" in version {}", name, column,
                                   tables.version));
      }
      types.push_back(info->type);
    }
    for (const ColumnInfo& info : wanted) {
      if (std::count(found->columns.begin(), found->columns.end(), info.name) != 1) {
        misfit(source,
               fmt::format("table \"{}\" must have the column \"{}\" once", name, info.name));
      }
    }
    for (std::size_t r = 0; r < found->rows.size(); ++r) {
      for (std::size_t c = 0; c < types.size(); ++c) {
        Value& value = found->rows[r][c];
        const std::optional<Value> converted = as_type(value, types[c], tables.all_text);
        if (!converted) {
          const char* kind = types[c] == "TEXT"      ? "text in UTF-8"
                             : types[c] == "INTEGER" ? "a whole number"
                                                     : "a number";
          misfit(found->where[r],
                 fmt::format("column \"{}\" must hold {} or nothing", found->columns[c], kind));
        }
        if (const std::string why = misfit_in(found->columns[c], *converted); !why.empty()) {
          misfit(found->where[r], fmt::format("column \"{}\" {}", found->columns[c], why));
        }
        value = *converted;
      }
    }
    in_order.push_back(std::move(*found));
    tables.tables.erase(found);
  }
  if (!tables.tables.empty()) {
    misfit(source, fmt::format("table \"{}\" is not one of a logbook of version {}",
                               tables.tables.front().name, tables.version));
  }
  tables.tables = std::move(in_order);
}

void check_empty(SQLite::Database& database, const std::string& file) {
  for (const std::string& name : table_names(current_version())) {
    SQLite::Statement statement(database, fmt::format("SELECT EXISTS (SELECT 1 FROM {})", name));
    statement.executeStep();
    if (statement.getColumn(0).getInt() != 0) {
      throw BadInput(fmt::format(
          "{}: this logbook already holds something, and an import goes into an empty one; nothing "
          "was changed; name a new file for the logbook",
          file));
    }
  }
}

long insert_rows(SQLite::Database& database, const Table& table) {
  std::string marks;
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    marks += i == 0 ? "?" : ", ?";
  }
  SQLite::Statement statement(database, fmt::format("INSERT INTO {} ({}) VALUES ({})", table.name,
                                                    fmt::join(table.columns, ", "), marks));
  for (std::size_t r = 0; r < table.rows.size(); ++r) {
    statement.reset();
    int index = 1;
    for (const Value& value : table.rows[r]) {
      bind(statement, index++, value);
    }
    try {
      statement.exec();
    } catch (const SQLite::Exception& fault) {
      const int kind = fault.getErrorCode() & 0xff;
      if (kind != SQLITE_CONSTRAINT && kind != SQLITE_MISMATCH) {
        throw;
      }
      misfit(table.where[r], fmt::format("the row does not fit the others ({})", fault.what()));
    }
  }
  return static_cast<long>(table.rows.size());
}

}  // namespace

bool is_utf8(const std::string& bytes) {
  try {
    static_cast<void>(nlohmann::json(bytes).dump());
    return true;
  } catch (const nlohmann::json::type_error&) {
    return false;
  }
}

int version_of_schema(const std::string& schema, const std::string& source) {
  const std::string prefix = kExportSchema;
  std::optional<int> version;
  if (schema.starts_with(prefix)) {
    version = parsed<int>(schema.substr(prefix.size()));
  }
  if (!version || *version < 1) {
    throw BadInput(
        fmt::format("{}: is not an export of a logbook; {}; give what `nocktrail logbook export` "
                    "wrote",
                    source, kUnchanged));
  }
  if (*version > current_version()) {
    throw BadInput(fmt::format(
        "{}: is of version {}, written by a newer nocktrail; this one knows up to version {}; {}; "
        "install the newer nocktrail",
        source, *version, current_version(), kUnchanged));
  }
  return *version;
}

Tables read_tables(const Logbook::Store& store) {
  SQLite::Database& database = store.database();
  SQLite::Transaction transaction(database);
  Tables out;
  out.version = current_version();
  for (const std::string& name : table_names(out.version)) {
    Table table;
    table.name = name;
    const std::vector<ColumnInfo> columns = columns_of(database, name);
    table.columns.reserve(columns.size());
    for (const ColumnInfo& column : columns) {
      table.columns.push_back(column.name);
    }
    SQLite::Statement statement(database, fmt::format("SELECT {} FROM {} ORDER BY id",
                                                      fmt::join(table.columns, ", "), name));
    while (statement.executeStep()) {
      std::vector<Value> row;
      row.reserve(columns.size());
      for (int c = 0; c < statement.getColumnCount(); ++c) {
        row.push_back(value_at(statement, c));
      }
      table.rows.push_back(std::move(row));
    }
    out.tables.push_back(std::move(table));
  }
  return out;
}

Tables checked(Tables tables, const std::string& source) {
  for (Table& table : tables.tables) {
    for (std::size_t r = 0; r < table.rows.size(); ++r) {
      table.where.push_back(fmt::format("{}, table \"{}\", row {}", source, table.name, r + 1));
    }
  }
  check_and_convert(tables, source);
  return tables;
}

long write_tables(Logbook::Store& store, Tables tables, const std::string& source) {
  check_and_convert(tables, source);
  SQLite::Database& database = store.database();
  SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
  check_empty(database, store.file().string());
  const bool old = tables.version < current_version();
  if (old) {  // filled in as it was then, and brought up to date as an old file is
    std::vector<std::string> names = table_names(current_version());
    std::reverse(names.begin(), names.end());
    for (const std::string& name : names) {
      database.exec("DROP TABLE " + name);
    }
    migrate(database, 0, tables.version);
  }
  long rows = 0;
  for (const Table& table : tables.tables) {
    rows += insert_rows(database, table);
  }
  if (old) {
    migrate(database, tables.version, current_version());
  }
  transaction.commit();
  return rows;
}

}  // namespace nocktrail::logbook
