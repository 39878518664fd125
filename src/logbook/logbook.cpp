#include "nocktrail/logbook/logbook.hpp"

#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>
#include <pwd.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <regex>

#include "nocktrail/error.hpp"
#include "store.hpp"
#include "values.hpp"

namespace nocktrail::logbook {
namespace {

namespace fs = std::filesystem;

fs::path absolute_from_environment(const char* name) {
  const char* value = std::getenv(name);
  const fs::path path = value == nullptr ? fs::path() : fs::path(value);
  return path.is_absolute() ? path : fs::path();
}

}  // namespace

fs::path default_file() {
  fs::path data = absolute_from_environment("XDG_DATA_HOME");
  if (data.empty()) {
    fs::path home = absolute_from_environment("HOME");
    if (home.empty()) {
      const passwd* entry = ::getpwuid(::getuid());
      home = entry == nullptr || entry->pw_dir == nullptr ? fs::path() : fs::path(entry->pw_dir);
    }
    if (!home.is_absolute()) {
      throw BadInput(
          "logbook: there is no home directory to keep it in; name a file for the logbook");
    }
    data = home / ".local" / "share";
  }
  return data / "nocktrail" / "logbook.sqlite";
}

bool is_date(const std::string& text) {
  static const std::regex form(R"((\d{4})-(\d\d)-(\d\d)(T([01]\d|2[0-3]):[0-5]\d(:[0-5]\dZ)?)?)");
  std::smatch parts;
  if (!std::regex_match(text, parts, form)) {
    return false;
  }
  const std::chrono::year_month_day day{
      std::chrono::year(std::stoi(parts[1])),
      std::chrono::month(static_cast<unsigned>(std::stoi(parts[2]))),
      std::chrono::day(static_cast<unsigned>(std::stoi(parts[3])))};
  return day.ok();
}

Logbook::Logbook(const fs::path& file, const OpenOptions& options)
    : store_(std::make_unique<Store>(file, options)) {}
Logbook::Logbook(Logbook&&) noexcept = default;
Logbook& Logbook::operator=(Logbook&&) noexcept = default;
Logbook::~Logbook() = default;

const fs::path& Logbook::file() const {
  return store_->file();
}

void Logbook::add_note(const Note& note) {
  if (note.text.find_first_not_of(" \t\r\n") == std::string::npos) {
    throw BadInput("note: there is no text in it; give what is to be remembered");
  }
  if (!note.at.empty() && !is_date(note.at)) {
    throw BadInput(fmt::format(
        "note: \"{}\" is not a date; give one as 2026-11-25 or 2026-11-25T10:30:00Z", note.at));
  }
  store_->guarded([&] {
    SQLite::Database& database = store_->database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    Row row = {{"at", text(note.at.empty() ? now_utc() : note.at)}, {"text", text(note.text)}};
    if (!note.bow.empty()) {
      // A bow that was not shot yet may have notes too.
      row.push_back(
          {"bow_id", whole(find_or_insert(database, "bows", {{"name", text(note.bow)}}))});
    }
    insert(database, "notes", row);
    transaction.commit();
  });
}

}  // namespace nocktrail::logbook
