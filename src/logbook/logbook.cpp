#include "nocktrail/logbook/logbook.hpp"

#include <SQLiteCpp/Transaction.h>
#include <fmt/format.h>
#include <pwd.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <string_view>

#include "names.hpp"
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

// A digit for each 0 of `form`, every other character as it is there.
bool has_form(const std::string& text, std::string_view form) {
  return std::equal(text.begin(), text.end(), form.begin(), form.end(), [](char c, char wanted) {
    return wanted == '0' ? c >= '0' && c <= '9' : c == wanted;
  });
}

int number_at(const std::string& text, std::size_t at, std::size_t digits) {
  return std::stoi(text.substr(at, digits));
}

bool between(int value, int low, int high) {
  return value >= low && value <= high;
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

bool is_year_or_month(const std::string& text) {
  return has_form(text, "0000") ||
         (has_form(text, "0000-00") && between(number_at(text, 5, 2), 1, 12));
}

bool is_date(const std::string& text) {
  const bool day_alone = has_form(text, "0000-00-00");
  const bool to_seconds = has_form(text, "0000-00-00T00:00:00Z");
  if (!day_alone && !to_seconds && !has_form(text, "0000-00-00T00:00")) {
    return false;
  }
  const std::chrono::year_month_day day{
      std::chrono::year(number_at(text, 0, 4)),
      std::chrono::month(static_cast<unsigned>(number_at(text, 5, 2))),
      std::chrono::day(static_cast<unsigned>(number_at(text, 8, 2)))};
  return day.ok() &&
         (day_alone ||
          (between(number_at(text, 11, 2), 0, 23) && between(number_at(text, 14, 2), 0, 59))) &&
         (!to_seconds || between(number_at(text, 17, 2), 0, 59));
}

Logbook::Logbook(const fs::path& file, const OpenOptions& options)
    : store_(std::make_unique<Store>(file, options)) {}
Logbook::Logbook(Logbook&&) noexcept = default;
Logbook& Logbook::operator=(Logbook&&) noexcept = default;
Logbook::~Logbook() = default;

const fs::path& Logbook::file() const {
  return store_->file();
}

std::optional<NewName> Logbook::add_note(const Note& note) {
  if (note.text.find_first_not_of(" \t\r\n") == std::string::npos) {
    throw BadInput("note: there is no text in it; give what is to be remembered");
  }
  if (!note.at.empty() && !is_date(note.at)) {
    throw BadInput(fmt::format(
        "note: \"{}\" is not a date; give one as 2026-11-25 or 2026-11-25T10:30:00Z", note.at));
  }
  return store_->guarded([&] {
    SQLite::Database& database = store_->database();
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
    Row row = {{"at", text(note.at.empty() ? now_utc() : note.at)}, {"text", text(note.text)}};
    std::optional<NewName> new_name;
    if (!note.bow.empty()) {
      new_name = if_new(known_names(database, NameKind::bow, false), NameKind::bow, note.bow);
      // A bow that was not shot yet may have notes too.
      row.push_back(
          {"bow_id", whole(find_or_insert(database, "bows", {{"name", text(note.bow)}}))});
    }
    insert(database, "notes", row);
    transaction.commit();
    return new_name;
  });
}

}  // namespace nocktrail::logbook
