#include "nocktrail/logbook/transfer.hpp"

#include <fmt/format.h>

#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <system_error>

#include "csv.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "schema.hpp"
#include "store.hpp"
#include "tables.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

const char* const kManifest = "logbook.csv";

std::string content_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::string bytes{std::istreambuf_iterator<char>(in), {}};
  if (!in.is_open() || in.bad()) {
    throw BadInput(
        fmt::format("{}: cannot be read; give what `nocktrail logbook export` wrote; nothing was "
                    "imported",
                    file.string()));
  }
  return bytes;
}

Json json_of(const Value& value) {
  return std::visit(
      [](const auto& v) -> Json {
        if constexpr (std::is_same_v<std::decay_t<decltype(v)>, std::monostate>) {
          return nullptr;
        } else {
          return v;
        }
      },
      value);
}

// Empty: of a kind that no column has.
std::optional<Value> value_of(const Json& json) {
  if (json.is_null()) {
    return Value();
  }
  if (json.is_string()) {
    return json.get<std::string>();
  }
  if (json.is_number_float()) {
    return json.get<double>();
  }
  if (json.is_number_integer() &&
      !(json.is_number_unsigned() && json.get<std::uint64_t>() > std::uint64_t{INT64_MAX})) {
    return json.get<std::int64_t>();
  }
  return std::nullopt;
}

CsvField csv_of(const Value& value) {
  if (const auto* whole_number = std::get_if<std::int64_t>(&value)) {
    return std::to_string(*whole_number);
  }
  if (const auto* real = std::get_if<double>(&value)) {
    return fmt::format("{}", *real);  // the shortest that reads back as the same number
  }
  if (const auto* words = std::get_if<std::string>(&value)) {
    return *words;
  }
  return std::nullopt;
}

Table table_from_json(const std::string& name, const Json& rows, const std::string& source) {
  Table table;
  table.name = name;
  if (!rows.is_array()) {
    throw BadInput(fmt::format(
        "{}: table \"{}\" must be a list; nothing was imported; export again", source, name));
  }
  for (std::size_t r = 0; r < rows.size(); ++r) {
    const std::string where = fmt::format("{}, table \"{}\", row {}", source, name, r + 1);
    const auto complain = [&where](const std::string& why) {
      throw BadInput(fmt::format("{}: {}; nothing was imported; export again", where, why));
    };
    if (!rows[r].is_object()) {
      complain("must be an object");
    }
    if (r == 0) {
      for (const auto& [column, ignored] : rows[r].items()) {
        table.columns.push_back(column);
      }
    }
    std::vector<Value> values;
    for (const std::string& column : table.columns) {
      const auto found = rows[r].find(column);
      if (found == rows[r].end()) {
        complain(fmt::format("column \"{}\" is missing", column));
      }
      const std::optional<Value> value = value_of(*found);
      if (!value) {
        complain(fmt::format("column \"{}\" holds what is neither number nor text", column));
      }
      values.push_back(*value);
    }
    if (rows[r].size() != table.columns.size()) {
      complain("has columns that the first row has not");
    }
    table.rows.push_back(std::move(values));
    table.where.push_back(where);
  }
  return table;
}

Table table_from_csv(const std::string& name, const fs::path& file) {
  const std::vector<CsvRecord> records = parse_csv(content_of(file), file.string());
  if (records.empty()) {
    throw BadInput(fmt::format(
        "{}: has no line of column names; nothing was imported; export again", file.string()));
  }
  Table table;
  table.name = name;
  for (const CsvField& column : records.front().fields) {
    table.columns.push_back(column.value_or(""));
  }
  for (std::size_t r = 1; r < records.size(); ++r) {
    const std::string where = fmt::format("{}, line {}", file.string(), records[r].line);
    if (records[r].fields.size() != table.columns.size()) {
      throw BadInput(
          fmt::format("{}: has {} fields where the first line names {} columns; nothing was "
                      "imported; mend that "
                      "line or export again",
                      where, records[r].fields.size(), table.columns.size()));
    }
    std::vector<Value> row;
    for (const CsvField& field : records[r].fields) {
      row.push_back(field ? Value(*field) : Value());
    }
    table.rows.push_back(std::move(row));
    table.where.push_back(where);
  }
  return table;
}

void write_csv_files(const Tables& tables, const fs::path& folder) {
  for (const Table& table : tables.tables) {
    std::string out = csv_line(std::vector<CsvField>(table.columns.begin(), table.columns.end()));
    for (const std::vector<Value>& row : table.rows) {
      std::vector<CsvField> fields;
      fields.reserve(row.size());
      for (const Value& value : row) {
        fields.push_back(csv_of(value));
      }
      out += csv_line(fields);
    }
    report::write_file_whole(folder / (table.name + ".csv"), out);
  }
  report::write_file_whole(
      folder / kManifest,
      csv_line({"schema"}) + csv_line({fmt::format("{}{}", kExportSchema, tables.version)}));
}

}  // namespace

std::string json_text(const Logbook& logbook) {
  const Tables tables = logbook.store().guarded([&] { return read_tables(logbook.store()); });
  Json document;
  document["schema"] = fmt::format("{}{}", kExportSchema, tables.version);
  Json& all = document["tables"] = Json::object();
  for (const Table& table : tables.tables) {
    Json& rows = all[table.name] = Json::array();
    for (const std::vector<Value>& row : table.rows) {
      Json object = Json::object();
      for (std::size_t c = 0; c < row.size(); ++c) {
        object[table.columns[c]] = json_of(row[c]);
      }
      rows.push_back(std::move(object));
    }
  }
  return document.dump(1) + "\n";
}

void export_json(const Logbook& logbook, const fs::path& file) {
  report::check_writable(file);
  report::write_file_whole(file, json_text(logbook));
}

void export_csv(const Logbook& logbook, const fs::path& folder) {
  const fs::path target = fs::absolute(folder).lexically_normal();
  std::error_code error;
  if (fs::exists(target, error) &&
      (!fs::is_directory(target, error) || !fs::is_empty(target, error))) {
    throw BadInput(fmt::format(
        "{}: is there already and not empty; nothing was written; name a new folder for the export",
        folder.string()));
  }
  const Tables tables = logbook.store().guarded([&] { return read_tables(logbook.store()); });
  fs::path bare = target;
  if (bare.filename().empty()) {  // "out/"
    bare = bare.parent_path();
  }
  fs::create_directories(bare.parent_path(), error);
  if (!error) {
    const report::PartFolder part(bare, error);
    if (!error) {
      write_csv_files(tables, part.path());
      fs::rename(part.path(), bare, error);
    }
  }
  if (error) {
    throw BadInput(fmt::format(
        "{}: cannot be written ({}); nothing was left behind; name a folder where you may write",
        folder.string(), error.message()));
  }
}

long import_json(Logbook& logbook, const fs::path& file) {
  const std::string source = file.string();
  Json document;
  try {
    document = Json::parse(content_of(file));
  } catch (const Json::exception&) {
    throw BadInput(
        fmt::format("{}: is not JSON, or not whole; nothing was imported; give what `nocktrail "
                    "logbook export` wrote",
                    source));
  }
  Tables tables;
  const bool has_schema = document.is_object() && document.contains("schema") &&
                          document["schema"].is_string() && document.contains("tables") &&
                          document["tables"].is_object();
  tables.version =
      version_of_schema(has_schema ? document["schema"].get<std::string>() : "", source);
  for (const auto& [name, rows] : document["tables"].items()) {
    Table table = table_from_json(name, rows, source);
    if (table.rows.empty()) {
      table.columns.clear();
    }
    tables.tables.push_back(std::move(table));
  }
  return logbook.store().guarded(
      [&] { return write_tables(logbook.store(), std::move(tables), source); });
}

long import_csv(Logbook& logbook, const fs::path& folder) {
  const fs::path manifest = folder / kManifest;
  const std::vector<CsvRecord> records = parse_csv(content_of(manifest), manifest.string());
  Tables tables;
  tables.all_text = true;
  tables.version = version_of_schema(
      records.size() == 2 && !records[1].fields.empty() ? records[1].fields[0].value_or("") : "",
      manifest.string());
  for (const std::string& name : table_names(tables.version)) {
    tables.tables.push_back(table_from_csv(name, folder / (name + ".csv")));
  }
  return logbook.store().guarded(
      [&] { return write_tables(logbook.store(), std::move(tables), folder.string()); });
}

}  // namespace nocktrail::logbook
