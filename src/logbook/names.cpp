#include "names.hpp"

#include <SQLiteCpp/Statement.h>
#include <fmt/format.h>

#include <algorithm>

#include "counted.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "store.hpp"

namespace nocktrail::logbook {
namespace {

// As many as a line takes.
constexpr std::size_t kMostNamed = 12;

const char* word_of(NameKind kind) {
  return kind == NameKind::bow ? "bow" : "arrow";
}

bool is_known(const std::vector<std::string>& known, const std::string& name) {
  return std::any_of(known.begin(), known.end(),
                     [&](const std::string& one) { return same_name(one, name); });
}

// "Heron, Rook and 5 more".
std::string listed(const std::vector<std::string>& known) {
  const std::size_t shown = std::min(known.size(), kMostNamed);
  const std::vector<std::string> first(known.begin(),
                                       known.begin() + static_cast<std::ptrdiff_t>(shown));
  return fmt::format("{}{}", fmt::join(first, ", "),
                     shown < known.size() ? fmt::format(" and {} more", known.size() - shown) : "");
}

}  // namespace

bool same_name(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char one, char other) { return lower(one) == lower(other); });
}

std::vector<std::string> known_names(SQLite::Database& database, NameKind kind, bool answered) {
  const char* const by_notes = kind == NameKind::bow ? "OR id IN (SELECT bow_id FROM notes)" : "";
  const char* const which = answered ? "WHERE clips.id IN (SELECT id FROM counted_clips)" : "";
  SQLite::Statement statement(
      database, fmt::format("{0} SELECT DISTINCT name FROM {1}s WHERE name IS NOT NULL AND (id IN "
                            "(SELECT {1}_id FROM setups JOIN clips ON setup_id = setups.id {2}) "
                            "{3}) ORDER BY name",
                            kCounted, word_of(kind), which, by_notes));
  std::vector<std::string> names;
  while (statement.executeStep()) {
    names.push_back(statement.getColumn(0).getString());
  }
  return names;
}

std::optional<NewName> if_new(const std::vector<std::string>& known, NameKind kind,
                              const std::string& name) {
  if (name.empty() || known.empty() || is_known(known, name)) {
    return std::nullopt;
  }
  return NewName{kind, name, units::nearly_right(name, known)};
}

std::string in_words(const NewName& name) {
  const std::string said = fmt::format("{} \"{}\" is new to the logbook", word_of(name.kind),
                                       units::quoted_briefly(name.name));
  return name.nearly_right.empty() ? said
                                   : fmt::format("{}; nearly right: \"{}\", if it is the same one",
                                                 said, units::quoted_briefly(name.nearly_right));
}

void check_name(const Logbook& logbook, NameKind kind, const std::string& name) {
  if (name.empty()) {
    return;
  }
  const Logbook::Store& store = logbook.store();
  const std::vector<std::string> known =
      store.guarded([&] { return known_names(store.database(), kind, true); });
  if (is_known(known, name)) {
    return;
  }
  const std::string meant = units::nearly_right(name, known);
  throw BadInput(fmt::format(
      "{}: there is no {} \"{}\" in this logbook; {}{}", logbook.file().string(), word_of(kind),
      units::quoted_briefly(name),
      meant.empty() ? "" : fmt::format("nearly right: \"{}\"; ", meant),
      known.empty()
          ? fmt::format("no {} has a name in it yet; name it in the session's file", word_of(kind))
          : fmt::format("it knows {}", listed(known))));
}

}  // namespace nocktrail::logbook
