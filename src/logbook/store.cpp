#include "store.hpp"

#include <SQLiteCpp/Backup.h>
#include <SQLiteCpp/Statement.h>
#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>
#include <sqlite3.h>

#include <chrono>
#include <ctime>
#include <system_error>
#include <thread>
#include <utility>

#include "nocktrail/error.hpp"
#include "schema.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;

// Of a logbook of 100,000 shots most: what is read to look whether it is sound is not read again.
constexpr int kCache_kB = 65536;

int pragma(const SQLite::Database& database, const char* name) {
  SQLite::Statement statement(database, fmt::format("PRAGMA {}", name));
  return statement.executeStep() ? statement.getColumn(0).getInt() : 0;
}

bool has_tables(const SQLite::Database& database) {
  SQLite::Statement statement(database, "SELECT count(*) FROM sqlite_master");
  return statement.executeStep() && statement.getColumn(0).getInt() > 0;
}

void make_folder(const fs::path& file) {
  const fs::path folder = file.parent_path();
  std::error_code error;
  if (fs::is_directory(folder, error)) {
    return;
  }
  fs::path existing = folder;
  std::vector<fs::path> made;
  while (!existing.empty() && !fs::exists(existing, error)) {
    made.push_back(existing);
    existing = existing.parent_path();
  }
  fs::create_directories(folder, error);
  if (error) {
    throw BadInput(
        fmt::format("{}: the folder of the logbook cannot be made ({}); make it, or name another "
                    "file for the logbook",
                    file.string(), error.message()));
  }
  for (const fs::path& path : made) {  // XDG Base Directory Specification: mode 0700
    fs::permissions(path, fs::perms::owner_all, error);
  }
}

std::string uri_of(const fs::path& file, const char* parameters) {
  std::string uri = "file:";
  for (const char c : file.string()) {
    if (c == '%' || c == '?' || c == '#') {
      uri += fmt::format("%{:02X}", static_cast<unsigned>(static_cast<unsigned char>(c)));
    } else {
      uri += c;
    }
  }
  return uri + parameters;
}

std::string no_logbook_words(const fs::path& file) {
  return fmt::format("{}: there is no logbook here yet; `nocktrail session FOLDER` writes one",
                     file.string());
}

bool cannot_be_touched(const SQLite::Exception& fault) {
  const int kind = fault.getErrorCode() & 0xff;
  return kind == SQLITE_CANTOPEN || kind == SQLITE_READONLY || kind == SQLITE_PERM;
}

}  // namespace

std::string now_utc() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm parts{};
  gmtime_r(&now, &parts);
  char text[32] = {};
  std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts);
  return text;
}

Logbook::Store::Store(const fs::path& file, const OpenOptions& options)
    : file_(fs::absolute(file).lexically_normal()), options_(options) {
  std::error_code error;
  if (file.empty() || fs::is_directory(file_, error)) {
    throw BadInput(fmt::format("{}: is a folder; name a file for the logbook", file.string()));
  }
  guarded([this] {
    switch (options_.access) {
      case Access::write:
        return open_for_writing();
      case Access::read:
        return open_for_reading();
      case Access::copy:
        return open_copy();
    }
  });
}

SQLite::Database Logbook::Store::connect(int flags) {
  SQLite::Database database(file_.string(), flags, options_.busy_timeout_ms);
  database.exec("PRAGMA foreign_keys = ON");
  database.exec(fmt::format("PRAGMA cache_size = -{}", kCache_kB));
  if (options_.max_pages > 0) {
    database.exec(fmt::format("PRAGMA max_page_count = {}", options_.max_pages));
  }
  return database;
}

void Logbook::Store::open_for_writing() {
  std::error_code error;
  if (options_.must_exist && !fs::exists(file_, error)) {
    throw BadInput(no_logbook_words(file_));
  }
  make_folder(file_);
  database_ =
      std::make_unique<SQLite::Database>(connect(SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE));
  check_identity();
  check_sound();
  use_write_ahead_log();
  if (pragma(*database_, "user_version") < current_version()) {
    SQLite::Transaction transaction(*database_, SQLite::TransactionBehavior::IMMEDIATE);
    // Asked again: another process may have brought it up to date in the meantime.
    const int version = pragma(*database_, "user_version");
    if (version < current_version()) {
      database_->exec(fmt::format("PRAGMA application_id = {}", kApplicationId));
      migrate(*database_, version, current_version());
    }
    transaction.commit();
  }
}

void Logbook::Store::open_for_reading() {
  std::error_code error;
  if (!fs::exists(file_, error)) {
    throw BadInput(no_logbook_words(file_));
  }
  const auto try_as = [this](int flags) {
    try {
      database_ = std::make_unique<SQLite::Database>(connect(flags));
      check_identity();
      return true;
    } catch (const SQLite::Exception& fault) {
      if (!cannot_be_touched(fault)) {
        throw;
      }
      return false;
    }
  };
  // A process killed while writing leaves a journal, and only a writer may tidy up after it.
  if (!try_as(SQLite::OPEN_READONLY) && !try_as(SQLite::OPEN_READWRITE)) {
    // In a folder that admits no new files a write-ahead log cannot be joined; when nothing is left
    // in a journal, the file alone is the whole truth.
    if (has_journal()) {
      throw SQLite::Exception("its journal cannot be read", SQLITE_CANTOPEN);
    }
    open_as_it_lies();
  }
  if (pragma(*database_, "user_version") < current_version()) {
    open_for_writing();
    return;
  }
  check_sound();
}

bool Logbook::Store::has_journal() const {
  for (const char* journal : {"-wal", "-journal"}) {
    const fs::path path = file_.string() + journal;
    std::error_code error;
    if (fs::exists(path, error) && fs::file_size(path, error) != 0) {
      return true;
    }
  }
  return false;
}

// Makes no file beside it, not even for a moment.
void Logbook::Store::open_as_it_lies() {
  database_ = std::make_unique<SQLite::Database>(uri_of(file_, "?immutable=1"),
                                                 SQLite::OPEN_READONLY | SQLite::OPEN_URI,
                                                 options_.busy_timeout_ms);
  check_identity();
}

void Logbook::Store::open_copy() {
  std::error_code error;
  if (!fs::exists(file_, error)) {
    throw BadInput(fmt::format("{}: there is no such logbook; check its name", file_.string()));
  }
  const auto changed_at = fs::last_write_time(file_, error);
  if (has_journal()) {  // another process is at work, or was killed: SQLite sorts that out
    database_ = std::make_unique<SQLite::Database>(connect(SQLite::OPEN_READONLY));
    check_identity();
  } else {
    open_as_it_lies();
  }
  auto copy =
      std::make_unique<SQLite::Database>(":memory:", SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
  SQLite::Backup(*copy, *database_).executeStep(-1);
  database_ = std::move(copy);
  if (fs::last_write_time(file_, error) != changed_at) {
    throw BadInput(
        fmt::format("{}: another program wrote this logbook while it was being read; nothing was "
                    "changed; run this again",
                    file_.string()));
  }
  check_sound();
  if (const int version = pragma(*database_, "user_version"); version < current_version()) {
    migrate(*database_, version, current_version());
  }
  SQLite::Statement broken(*database_, "PRAGMA foreign_key_check");
  if (broken.executeStep()) {
    throw SQLite::Exception("rows refer to rows that are not there", SQLITE_CORRUPT);
  }
}

void Logbook::Store::check_identity() {
  int id = pragma(*database_, "application_id");
  const bool filled = has_tables(*database_);
  if (id == 0 && filled) {
    // Another process may have made the logbook between the two questions.
    id = pragma(*database_, "application_id");
  }
  if (id != kApplicationId && (id != 0 || filled)) {
    throw BadInput(
        fmt::format("{}: is a database of another program, not a logbook; it was left as it is; "
                    "name another file for the logbook",
                    file_.string()));
  }
  const int version = pragma(*database_, "user_version");
  if (version > current_version()) {
    throw BadInput(fmt::format(
        "{}: this logbook is of version {}, written by a newer nocktrail; this one knows up to "
        "version {}; it was left as it is; install the newer nocktrail",
        file_.string(), version, current_version()));
  }
}

void Logbook::Store::check_sound() {
  SQLite::Statement statement(*database_, "PRAGMA quick_check(1)");
  if (statement.executeStep() && statement.getColumn(0).getString() != "ok") {
    throw SQLite::Exception(statement.getColumn(0).getString(), SQLITE_CORRUPT);
  }
}

void Logbook::Store::use_write_ahead_log() {
  // SQLite does not wait by itself when another process makes the same change at this moment.
  const auto give_up =
      std::chrono::steady_clock::now() + std::chrono::milliseconds(options_.busy_timeout_ms);
  while (true) {
    const int result = database_->tryExec("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL");
    if (result == SQLITE_OK) {
      return;
    }
    if ((result & 0xff) != SQLITE_BUSY || std::chrono::steady_clock::now() >= give_up) {
      database_->check(result);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
}

void Logbook::Store::raise(const SQLite::Exception& fault) const {
  const std::string name = file_.string();
  switch (fault.getErrorCode() & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      throw BadInput(
          fmt::format("{}: another program is using this logbook and did not finish within {:g} s; "
                      "nothing was changed; close it or wait, then run this again",
                      name, options_.busy_timeout_ms / 1000.0));
    case SQLITE_CANTOPEN:
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      throw BadInput(fmt::format(
          "{}: the logbook cannot be opened for {} ({}); nothing was changed; check "
          "the rights of the file and its folder, or name another file",
          name, options_.access == Access::write ? "writing" : "reading", fault.what()));
    case SQLITE_FULL:
      throw BadInput(
          fmt::format("{}: no room left for the logbook ({}); it is as it was before; free some "
                      "space on the disk, then run this again",
                      name, fault.what()));
    case SQLITE_IOERR:
      throw BadInput(
          fmt::format("{}: the system could not read or write the logbook ({}); nothing was "
                      "changed; check the disk and its free space, then run this again",
                      name, fault.what()));
    case SQLITE_NOTADB:
      throw BadInput(
          fmt::format("{}: is not a logbook, or its beginning is damaged ({}); it was left as it "
                      "is; name another file for the logbook",
                      name, fault.what()));
    case SQLITE_CORRUPT: {
      std::string why = fault.what();
      for (char& c : why) {
        c = c == '\n' ? ' ' : c;
      }
      throw BadInput(
          fmt::format("{}: this logbook is damaged ({}); it was left as it is; move it aside, then "
                      "import your last export or run `nocktrail session` on your folders again",
                      name, why));
    }
    default:
      throw std::runtime_error(fmt::format("{}: {}", name, fault.what()));
  }
}

}  // namespace nocktrail::logbook
