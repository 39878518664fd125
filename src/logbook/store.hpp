// The open database, and its faults turned into lines for people.
#pragma once

#include <SQLiteCpp/Database.h>
#include <SQLiteCpp/Exception.h>

#include <filesystem>
#include <string>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

class Logbook::Store {
 public:
  Store(const std::filesystem::path& file, const OpenOptions& options);

  const std::filesystem::path& file() const { return file_; }
  // Reading is const for the caller; the library does not know the difference.
  SQLite::Database& database() const { return *database_; }

  // Runs `job`; a fault of SQLite in it becomes BadInput about this file.
  template <typename Job>
  auto guarded(Job&& job) const {
    try {
      return job();
    } catch (const SQLite::Exception& fault) {
      raise(fault);
    }
  }

 private:
  [[noreturn]] void raise(const SQLite::Exception& fault) const;
  void open_for_writing();
  void open_for_reading();
  void open_copy();
  void open_as_it_lies();
  bool has_journal() const;
  void check_identity();
  void check_sound();
  void use_write_ahead_log();
  SQLite::Database connect(int flags);

  std::filesystem::path file_;
  OpenOptions options_;
  std::unique_ptr<SQLite::Database> database_;
};

// "2026-11-25T10:30:00Z"
std::string now_utc();

// A day, or a day and a time, of the calendar: 2026-11-25, 2026-11-25T10:30, 2026-11-25T10:30:00Z.
bool is_date(const std::string& text);

// 2026, 2026-11.
bool is_year_or_month(const std::string& text);

}  // namespace nocktrail::logbook
