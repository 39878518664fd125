// SQLite asked directly, past the logbook's own code.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <string>

#include "nocktrail/error.hpp"

namespace test {

inline std::string ask(const std::filesystem::path& file, const std::string& sql) {
  // Writable, so that SQLite may tidy up after a process that was killed.
  SQLite::Database database(file.string(), SQLite::OPEN_READWRITE, 1000);
  SQLite::Statement statement(database, sql);
  std::string out;
  while (statement.executeStep()) {
    for (int i = 0; i < statement.getColumnCount(); ++i) {
      out += (i == 0 ? "" : "|");
      out += statement.getColumn(i).isNull() ? "NULL" : statement.getColumn(i).getString();
    }
    out += "\n";
  }
  return out;
}

inline void tell(const std::filesystem::path& file, const std::string& sql) {
  SQLite::Database database(file.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE, 1000);
  database.exec(sql);
}

// What SQLite itself says of the file: sound pages and indexes, no row that refers to nothing.
inline void check_integrity(const std::filesystem::path& file) {
  CHECK(ask(file, "PRAGMA integrity_check") == "ok\n");
  CHECK(ask(file, "PRAGMA foreign_key_check").empty());
}

// The line of the BadInput that `job` throws; empty when it throws none.
template <typename Job>
std::string complaint(Job&& job) {
  try {
    job();
  } catch (const nocktrail::BadInput& fault) {
    CHECK(std::string(fault.what()).find('\n') == std::string::npos);
    return fault.what();
  }
  return "";
}

inline bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

// Standard output of SQLite's own command line (Debian's package sqlite3), or of another program.
inline std::string output_of(const std::string& command) {
  std::string out;
  FILE* pipe = ::popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  char buffer[4096];
  while (const std::size_t n = std::fread(buffer, 1, sizeof buffer, pipe)) {
    out.append(buffer, n);
  }
  CHECK(::pclose(pipe) == 0);
  return out;
}

inline bool have_sqlite_tool() {
  static const bool have = std::system("sqlite3 -version >/dev/null 2>&1") == 0;
  if (!have) {
    MESSAGE("skipped: the sqlite3 tool is not installed");
  }
  return have;
}

}  // namespace test
